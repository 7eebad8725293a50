"""A colour on the page: read from marks or typed in, made surer, and how far to trust it."""

"""A target while it is read: the forms that are half filled, each found again."""

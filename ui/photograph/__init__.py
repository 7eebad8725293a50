"""A photograph on the page: brought in, its card confirmed, the finish marked."""

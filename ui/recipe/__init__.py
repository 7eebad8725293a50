"""Recipes and plates on the page: the form, a plate's row, its correction and later readings."""

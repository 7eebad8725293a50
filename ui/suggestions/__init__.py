"""Suggestions on the page: the list, today's limits, what is within reach, what to make next."""

"""What could be made: recipes in range, the next plate, a session, what is within reach, what to change.

May import ``process`` and what is beneath it.
"""

"""Keeping a studio: moved to another place, backed up day by day, restored, and checked for what has gone wrong.

Above `matcher.studio`, whose users these are.
"""

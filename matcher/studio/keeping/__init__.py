"""Keeping a studio: moved to another place, backed up day by day, restored, and checked for what has gone wrong.

Uses ``Studio`` as anyone does; no part of it imports this.
"""

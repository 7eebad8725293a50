"""Plates ranked by ΔE00 to a colour, exactly: in memory, and in a database however many plates it holds.

Between the log and suggestions.
"""

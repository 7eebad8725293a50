"""Colour as numbers: CIELAB, CIEDE2000, uncertainty and its budget, and the words for a difference.

Imports nothing of the package but ``errors``.
"""

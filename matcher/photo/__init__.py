"""A photograph's file becomes linear light: formats, decoding, encoding, and the pixels of a region.

May import ``colour``.
"""

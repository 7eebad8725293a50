"""Readings from elsewhere than a photograph: instruments' files, spectra, Munsell notation.

May import ``reading`` and ``colour``.
"""

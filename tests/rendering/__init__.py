"""Invented photographs, rendered from spectra: plates, cards, lamps and a camera, for the tests and the demo."""

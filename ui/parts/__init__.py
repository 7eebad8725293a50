"""Pieces that several pages share: swatches, photographs, drafts, plots, the reading of a photograph."""

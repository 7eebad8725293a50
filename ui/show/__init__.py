"""How things look on the page: the style sheet, swatches, strips, plots, cautions."""

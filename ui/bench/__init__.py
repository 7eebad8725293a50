"""The bench on the page: choosing the piece, its passes and its readings."""

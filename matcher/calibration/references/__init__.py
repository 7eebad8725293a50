"""Finishes of known colour in a photograph make its readings surer: what they show of its errors is taken out.

``reference`` says what is known, and how it is seen; ``discrepancy`` what no cause of a budget bends into;
``update`` takes it into account; ``mistaken`` finds the references that do not agree. After ``calibration``;
``matcher.reading.finish`` reads with it.
"""

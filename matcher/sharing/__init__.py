"""Plates that a studio lets others see, by choice, and what other studios let us see: never mixed with our own log."""

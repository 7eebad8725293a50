"""Cameras on the page: learned from a chart, kept, and how to photograph."""

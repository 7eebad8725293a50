"""The wall of plates: what is looked for, the plates themselves as one sees them, some of them beside each other."""

"""What a patineur does: recipes, their fields and names, quantities, cautions.

Imports nothing of the package but ``errors`` and ``words``.
"""

"""Where a studio is kept: the database with its schema and migrations, and the folder of photographs.

Knows nothing of what is kept. Imports nothing of the package but ``errors``.
"""

"""One file a page; ``ui/app.py`` runs the one that was asked for."""

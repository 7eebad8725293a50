"""One file a page; ``ui/app.py`` runs the one that was asked for.

The folder is not named "pages": Streamlit would run its files by themselves, without ``ui/app.py``.
"""

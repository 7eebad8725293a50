"""A piece on the bench, followed pass by pass, and what sealing does to it.

May import ``plan``, ``process``, ``trials`` and what is beneath them.
"""

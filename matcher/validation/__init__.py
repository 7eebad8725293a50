"""How far the predictions can be trusted: cross-validation, and plates that disagree with the others.

May import ``plan``, ``process`` and what is beneath them.
"""

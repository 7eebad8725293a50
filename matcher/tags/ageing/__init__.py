"""Whether a plate has changed since it was logged, and its colour as the log knows it best, from its sightings.

``blunders`` leaves out what is none of it, ``evidence`` weighs changes, ``told`` says what came of it, ``mean`` and
``known`` give the colour.
"""

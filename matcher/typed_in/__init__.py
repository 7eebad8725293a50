"""What the commands of the command line share: options, what is typed of them made values, what is said of a colour.

May import everything of ``matcher`` but ``cli``, which parses with it and prints.
"""

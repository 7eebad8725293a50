"""`python -m matcher` is the command line."""

import sys

from matcher.cli import main

if __name__ == "__main__":
    sys.exit(main())

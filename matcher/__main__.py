"""`python -m matcher` is the command line."""

import sys

from matcher.cli.main import main

if __name__ == "__main__":
    sys.exit(main())

"""Lets ``python -m straightband`` do what the ``straightband`` command does."""

import sys

from straightband.cli import main

if __name__ == "__main__":
    sys.exit(main())

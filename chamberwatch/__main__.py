"""`python -m chamberwatch` is the same as the command `chamberwatch`."""

import sys

from chamberwatch.cli import main

if __name__ == "__main__":
    sys.exit(main())

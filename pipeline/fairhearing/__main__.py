"""`python -m fairhearing`: the command line."""

import sys

from fairhearing.cli import main

if __name__ == "__main__":
    sys.exit(main())

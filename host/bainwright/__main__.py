"""`python -m bainwright`: the same as `bain`."""

import sys

from bainwright.cli import main

sys.exit(main())

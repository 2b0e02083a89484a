"""`python -m bainwright`: the same as `bain`."""

from bainwright.cli import main

main()

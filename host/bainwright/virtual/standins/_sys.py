"""sys while main.py runs: the interpreter's own, with the console on the page's rings."""

import sys
from sys import *  # noqa: F403

from _console import show_exception as print_exception
from _console import stdin, stdout

path = sys.path  # not among the names a star imports

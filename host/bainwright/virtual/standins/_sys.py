"""sys while main.py runs: the interpreter's own, with the console on the shared memory's rings."""

import sys
from sys import *  # noqa: F403

import _clock
import _console

stdin, stdout = _console.stdin, _console.stdout
print_exception = _console.show_exception

platform = _clock.platform
path = sys.path  # not among the names a star imports

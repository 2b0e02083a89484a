"""Runs the test functions of one check module and prints a verdict a test; works under CPython and MicroPython.

Arguments: module, then the folders to put on the path. Each verdict is a line `== ok NAME` or `== failed NAME`; what
follows a failed line, up to the next verdict, is its traceback.
"""

import sys


def print_traceback(error):
    """The traceback on stdout, in either interpreter's way."""
    if hasattr(sys, "print_exception"):
        sys.print_exception(error, sys.stdout)
    else:
        import traceback

        traceback.print_exception(type(error), error, error.__traceback__, file=sys.stdout)


def run(module_name):
    """Import a check module and run each of its tests."""
    module = __import__(module_name)
    for name in sorted(dir(module)):
        if not name.startswith("test_"):
            continue
        try:
            getattr(module, name)()
        except Exception as error:  # the verdict of this test, whatever it raised; the others still run
            print("== failed", name)
            print_traceback(error)
        else:
            print("== ok", name)


def main(arguments):
    """Put the folders on the path, then run the module."""
    sys.path[:0] = arguments[1:]
    run(arguments[0])


if __name__ == "__main__":
    main(sys.argv[1:])

"""`bain` as a program: Ctrl-C has its words from the first moment on, while everything else still loads."""

from __future__ import annotations

import sys

from bainwright.core.errors import NOT_AS_IT_SHOULD


def main(arguments: list[str] | None = None) -> int:
    """Run `bain` with these arguments, or the process's own; returns the exit status."""
    try:
        from bainwright.commands.group import run

        return run(arguments)
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("bain: stopped\n")
        return NOT_AS_IT_SHOULD


if __name__ == "__main__":
    sys.exit(main())

"""`bain hold` from the first word to the exit status."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Callable

from bainwright.display.view import choose_view
from bainwright.evening.options import Ask, HoldRequest, ask_about_stock, resolve
from bainwright.evening.runner import KEYS, KEYS_VIRTUAL, Runner
from bainwright.review.report import Report, report
from bainwright.virtual.opening import open_board

Say = Callable[..., None]


def hold_evening(request: HoldRequest, *, big: bool, as_json: bool, say: Say, ask: Ask | None = None) -> int:
    """Run a hold as it was request for and tell how it went.

    Parameters
    ----------
    request : HoldRequest
        The options as typed.
    big : bool
        Show large digits.
    as_json : bool
        Print the result as JSON instead of sentences.
    say : callable
        Prints a line; ``err=True`` for progress and hints.
    ask : callable, optional
        Asks the person, where one sits at a terminal.

    Returns
    -------
    int
        The exit status.
    """
    setup = resolve(ask_about_stock(request, ask))
    with open_board(setup.port, setup.simulated) as session:
        view = choose_view(
            sys.stderr, full=sys.stdout.isatty(), big=big, keys=KEYS_VIRTUAL if session.virtual else KEYS
        )
        runner = Runner(setup, session, view)
        runner.prepare()
        for note in runner.notes():
            say(f"bain: {note}", err=True)
        ended = runner.run()
        say("bain: sealing the log and drawing the picture ...", err=True)
        told = report(runner, ended, session.truth())
    show(told, as_json, say)
    return told.exit_code


def show(told: Report, as_json: bool, say: Say) -> None:
    """The result on stdout, hints on stderr."""
    for note in told.notes:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json.dumps(told.result, indent=2, ensure_ascii=False))
        return
    virtual = "VIRTUAL: " if told.result["virtual"] else ""
    say(_wrapped(virtual + told.said))
    say(told.where())


def _wrapped(text: str) -> str:
    """Sentences broken between words for a terminal; left whole for a program."""
    if not sys.stdout.isatty():
        return text
    return textwrap.fill(text, min(100, shutil.get_terminal_size().columns))

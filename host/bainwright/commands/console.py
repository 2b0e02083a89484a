"""What commands share at the terminal: printing lines and results, and asking the person."""

from __future__ import annotations

import errno
import os
import shutil
import sys
import textwrap
from collections.abc import Callable
from typing import Any, TypeVar

import click

from bainwright.core.errors import BACK, BainError, OneBackError
from bainwright.core.json_text import json_text

Answer = TypeVar("Answer")
Result = TypeVar("Result")
NARROWEST, WIDEST = 40, 100  # chosen: longer lines than that are hard to read


def say(text: str, *, err: bool = False) -> None:
    """Print, folded between words on a terminal; a reader who left early (`| head`) is no error."""
    stream = sys.stderr if err else sys.stdout
    try:
        print(fold(text, columns()) if stream.isatty() else text, file=stream, flush=True)
    except OSError as failed:
        if failed.errno not in (errno.EPIPE, errno.EIO):
            raise
        nobody_reads(stream)


def columns() -> int:
    """How wide lines may be: the terminal's width within what is easy to read."""
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns))


def fold(text: str, width: int) -> str:
    """Break lines that are wider than a terminal between words; what follows is indented under its line.

    Parameters
    ----------
    text : str
        One line or several; spaces inside a line stay as they are.
    width : int
        The widest line.
    """
    return "\n".join(_folded(line, width) for line in text.split("\n"))


def _folded(line: str, width: int) -> str:
    if len(line) <= width:
        return line
    indent = line[: len(line) - len(line.lstrip())]
    return textwrap.fill(line, width, subsequent_indent=indent + "  " * bool(indent), break_long_words=False,
                         break_on_hyphens=False)  # fmt: skip


def nobody_reads(stream: Any) -> None:
    """Point a closed pipe to nowhere, or Python complains about it on its way out."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def remark(text: str) -> None:
    """Print a remark on stderr, after our name; a whole sentence goes without it."""
    say(f"bain: {text}" if text[:1].islower() else text, err=True)


def show_result(result: Any, lines: list[str], as_json: bool) -> None:
    """Print the result on stdout, as JSON or as lines to read."""
    say(json_text(result) if as_json else "\n".join(lines))


def is_asked() -> bool:
    """Is there a person at the keyboard to answer questions?"""
    return sys.stdin is not None and sys.stdin.isatty()  # it may have been closed


def ask(question: str, default: str | None, read: Callable[[str], Answer]) -> Answer:
    """Ask the person until the answer can be read.

    Parameters
    ----------
    question : str
        The question, with its own question mark.
    default : str or None
        The answer that Return alone gives; None demands one.
    read : callable
        Turns what was typed into the answer; raises `BainError` for what cannot be.
    """
    while True:
        typed = str(click.prompt(question, default=default, show_default=bool(default), err=True, prompt_suffix=" "))
        try:
            return read(typed)
        except BainError as wrong:
            remark(str(wrong))


def with_steps_back(work: Callable[[Callable[[str, str | None, Callable[[str], Any]], Any]], Result]) -> Result:
    """Work that asks; `back` as an answer asks the question before again, and keeps the answers before that.

    Parameters
    ----------
    work : callable
        Gets a function like `ask`, and is begun again for each step back with the answers that stay. It changes nothing
        before its last answer.
    """
    kept: list[Any] = []

    def one(typed: str, read: Callable[[str], Any]) -> Any:
        if typed.strip().lower() == BACK:
            raise OneBackError
        return read(typed)

    while True:
        again = list(kept)

        def answer(question: str, default: str | None, read: Callable[[str], Any], again: list[Any] = again) -> Any:
            if again:
                return again.pop(0)
            kept.append(ask(question, default, lambda typed: one(typed, read)))
            return kept[-1]

        try:
            return work(answer)
        except OneBackError:
            del kept[-1:]


def ask_line(question: str, default: str | None = "") -> str:
    """Ask once and return the line as typed."""
    return ask(question, default, str)

"""Every error a person is meant to read, under one root."""

from __future__ import annotations

from collections.abc import Callable
from typing import Self

DONE, NOT_AS_IT_SHOULD, WRONG_USE, NO_BOARD = 0, 1, 2, 3  # exit status of the program


class BainError(Exception):
    """Something a person can act on: what is wrong, what was got, what was wanted, what to do next.

    Parameters
    ----------
    what : str
        What is wrong, naming the file, key or option.
    got, wanted : object, optional
        The value met and the value that would have done.
    hint : str, optional
        What to do next.
    """

    exit_code = WRONG_USE

    def __init__(self, what: str, *, got: object = None, wanted: object = None, hint: str | None = None) -> None:
        self.what, self.got, self.wanted, self.hint = what, got, wanted, hint
        super().__init__(self.words())

    def said_as(self, change: Callable[[str], str]) -> Self:
        """The same error with other words for what was got and wanted, as in other units."""
        self.got, self.wanted = (None if value is None else change(str(value)) for value in (self.got, self.wanted))
        self.hint = None if self.hint is None else change(self.hint)
        self.args = (self.words(),)
        return self

    def words(self) -> str:
        """The error as one readable sentence or two."""
        found = [f"{word} {value}" for word, value in (("got", self.got), ("wanted", self.wanted)) if value is not None]
        joint = " " if self.what.endswith("?") else ": "
        text = joint.join([self.what, ", ".join(found)] if found else [self.what])
        if self.hint and text.endswith("."):
            return f"{text} {self.hint[:1].upper()}{self.hint[1:]}"
        return f"{text}; {self.hint}" if self.hint else text


class UseError(BainError):
    """Wrong use: an option, a name, a combination that cannot be."""


class FileError(BainError):
    """A rig, profile, scenario, gains or log file that is not right."""


class UnsavedError(FileError):
    """Work that was done, and its result could not be saved."""

    exit_code = NOT_AS_IT_SHOULD


class FullDiskError(FileError):
    """A file that was right and had no room."""

    exit_code = NOT_AS_IT_SHOULD


class PlantError(BainError):
    """A plug-in plant that cannot be loaded or used."""


class LinkError(BainError):
    """No board, a lost board, or something else on the port."""

    exit_code = NO_BOARD


class BusyPortError(LinkError):
    """Another program has the board's port open."""


class RefusedError(BainError):
    """The board answered, and said no."""

    exit_code = NOT_AS_IT_SHOULD


class TrippedError(RefusedError):
    """The warmer has tripped, and somebody must look at it."""


BACK = "back"  # as a typed answer


class OneBackError(Exception):
    """The person wants the question before this one again."""

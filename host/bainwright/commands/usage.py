"""What was typed and cannot be, in our words: options, arguments and commands that do not exist or lack a value."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

import click

from bainwright.core.errors import UseError

_EXTRA = re.compile(r"unexpected extra arguments? \((.*)\)")  # the only form these words have

_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)(?: ?min)?", re.ASCII)
_NUMBER = r"(\d{1,6}(?:\.\d{1,6})?)"
_SHORT_TIME = re.compile(rf"(?:{_NUMBER}(?:m|min|minutes?))?(?:{_NUMBER}(?:s|sec|seconds?))?", re.ASCII)


class Whole(click.ParamType[int]):
    """A whole number within bounds."""

    name = "whole number"

    def __init__(self, low: int, high: int, hint: str | None = None) -> None:
        self._low, self._high, self._hint = low, high, hint

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read it.

        Raises
        ------
        UseError
            If it is no whole number, or outside the bounds.
        """
        try:
            number = int(str(value))
        except ValueError:
            number = None
        if number is None or not self._low <= number <= self._high:
            raise UseError(_name(param), got=repr(value), wanted=f"a whole number, {self._low} to {self._high}",
                           hint=self._hint)
        return number


class Number(click.ParamType[float]):
    """Any finite number; its command knows the bounds."""

    name = "number"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, with a decimal point or comma.

        Raises
        ------
        UseError
            If it is no number.
        """
        try:
            number = float(str(value).replace(",", "."))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise UseError(_name(param), got=repr(value), wanted="a number")
        return number


class Minutes(click.ParamType[float]):
    """A short time, as a person reads it off: 4.5 and 4:30 are minutes, 4m30s and 270s name their letters."""

    name = "minutes"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, in minutes.

        Raises
        ------
        UseError
            If it is no such time.
        """
        text = str(value).strip().lower().replace(",", ".")
        clock = _CLOCK.fullmatch(text)
        if clock:
            return int(clock[1]) + int(clock[2]) / 60.0
        letters = _SHORT_TIME.fullmatch(text.replace(" ", ""))
        if letters and any(letters.groups()):
            return float(letters[1] or 0.0) + float(letters[2] or 0.0) / 60.0
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise UseError(_name(param), got=repr(value), wanted="minutes, such as 4.5, 4:30 or 4m30s")
        return number


class OneOf(click.ParamType[str]):
    """One word of a few."""

    name = "word"

    def __init__(self, *words: str) -> None:
        self._words = words

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Read it.

        Raises
        ------
        UseError
            If it is another word.
        """
        word = str(value).strip().lower()
        if word not in self._words:
            raise UseError(_name(param), got=repr(value), wanted=f"one of {', '.join(self._words)}",
                           hint=_nearest(word, self._words))
        return word

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """The words themselves."""
        return "|".join(self._words)


class Commands(click.Group):
    """A group of commands that names the nearest one when a command is mistyped."""

    def resolve_command(self, ctx: click.Context,
                        args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:  # fmt: skip
        """Find the command that was typed.

        Raises
        ------
        UseError
            If there is none of that name.
        """
        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            raise UseError(f"there is no command '{ctx.command_path} {args[0]}'",
                           hint=_nearest(args[0], self.commands) or _see(ctx))
        return super().resolve_command(ctx, args)


def refuse_empty(typed: Sequence[str]) -> None:
    """An option with an empty value is a slip, often a shell's variable that is not set; its default would hide that.

    Raises
    ------
    UseError
        If there is one.
    """
    for before, word in pairwise(["", *typed]):
        name, equals, value = word.partition("=")
        empty = before if not word and before.startswith("-") else name if name[:2] == "--" and equals else ""
        if empty and not value:
            raise UseError(f"{empty}: got an empty value", hint="leave the option out, or give it one")


def in_words(wrong: click.UsageError) -> UseError:
    """The option library's refusal as one of ours."""
    ctx = wrong.ctx
    command, see = (ctx.command_path, _see(ctx)) if ctx else ("bain", "bain --help lists what there is")
    if isinstance(wrong, click.NoSuchOption):
        return UseError(f"{command} has no option {wrong.option_name}",
                        hint=_nearest(wrong.option_name, wrong.possibilities or _options(ctx)) or see)
    if isinstance(wrong, click.MissingParameter) and wrong.param is not None:
        return UseError(f"{command}: {_name(wrong.param)} is missing", hint=see)
    if isinstance(wrong, click.BadOptionUsage):
        takes = "takes no value" if "does not take" in wrong.message else "needs a value"
        return UseError(f"{wrong.option_name} {takes}", hint=see)
    extra = _EXTRA.search(wrong.message)
    return UseError(f"{command} does not take {extra[1]!r}" if extra else f"{command}: {wrong.message}", hint=see)


def _see(ctx: click.Context) -> str:
    return f"see {ctx.command_path} --help"


def _name(param: click.Parameter | None) -> str:
    """A parameter as typed: the option, or the argument's placeholder."""
    if param is None:
        return "the value"
    return param.opts[-1] if isinstance(param, click.Option) else str(param.metavar or param.name or "").upper()


def _options(ctx: click.Context | None) -> list[str]:
    return [name for param in ctx.command.params for name in param.opts] if ctx else []


def _nearest(word: str, known: Iterable[str]) -> str | None:
    import difflib

    near = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {near[0]}?" if near else None

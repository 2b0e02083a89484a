"""msgspec's reasons for refusing a value, in words."""

from __future__ import annotations

import re

_WORDS = {
    "float": "a number", "int": "a whole number", "str": "a text", "bool": "true or false", "object": "a table",
    "array": "a list", "Number out of range": "a number in range",
    ">=": "of at least", "<=": "of at most", ">": "above", "<": "below",
}


def split(message: str) -> tuple[str, str]:
    """What is wrong, and the place of it (`items.guard.took_s`; empty for the whole)."""
    problem, _, path = message.partition(" - at `")
    return problem, path.rstrip("`").lstrip("$.")


def wanted(problem: str) -> str:
    """What msgspec expected, without what it got."""
    return problem.removeprefix("Expected ").partition(", got")[0].replace("`", "").removesuffix(" | null")


def plain(wanted: str) -> str:
    """The same in everyday words."""
    for code, word in _WORDS.items():
        wanted = re.sub(rf"(?<![\w<>=]){code}(?![\w<>=])", word, wanted)
    return wanted

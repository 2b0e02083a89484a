"""A part of a longer text: a title and its sentences, for the terminal and for a page alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Section:
    """A title and the lines below it, a sentence or two each."""

    title: str
    lines: Sequence[str]

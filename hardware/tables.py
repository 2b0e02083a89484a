"""Markdown tables for the pages of this folder."""

from __future__ import annotations

from collections.abc import Iterable

Row = tuple[str, str, str]


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    head = list(head)
    lines = [head, ["---"] * len(head), *[list(row) for row in rows]]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)

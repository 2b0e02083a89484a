"""Figures that carry their papers: what, how much, in what unit, how well it is known and who says so."""

from __future__ import annotations

from dataclasses import dataclass

READ = "source read, some through a secondary copy"
MEMORY = "from memory"
PRACTICE = "common practice, no source"
CHOSEN = "chosen"


@dataclass(frozen=True)
class Figure:
    """One figure a plan is made with.

    Attributes
    ----------
    what : str
        What it measures.
    value : float
        How much.
    unit : str
        Its unit; empty for a ratio.
    mark : str
        How well it is known: `READ`, `MEMORY`, `PRACTICE` or `CHOSEN`.
    source : str
        Who says so, or why it was chosen.
    """

    what: str
    value: float
    unit: str
    mark: str
    source: str = ""

    def words(self) -> str:
        """The figure as one line to read."""
        said = f"{self.mark}: {self.source}" if self.source else self.mark
        return f"{self.what}: {self.value:g}{' ' + self.unit if self.unit else ''} ({said})"

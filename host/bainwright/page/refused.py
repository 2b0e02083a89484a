"""A record of what the page refused: how often, from where and why, a line of JSON a minute at most for each."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from bainwright.core.home import home

FILE = "refused.jsonl"
# The answers that refuse somebody, and not only something. The words are for whoever reads the record.
WHY = {
    400: "an act that no page of ours has",
    401: "no token, or a wrong one", 403: "a wrong code, a phone that is not paired, or another site's page",
    405: "a method that no page of ours uses", 413: "too long, or too slow", 421: "a name that is not ours",
    429: "too many",
}  # fmt: skip
REFUSED_AS = "refused_as"  # in a request's scope: the status of a refusal that is answered by leading on
EVERY_S = 60.0
MOST_KINDS = 64  # chosen: addresses and reasons in a minute; what comes after is counted together
MOST_BYTES = 1_000_000  # chosen: about 8,000 lines; an attack must not fill the disk
BEFORE = ".before"  # the record before it, once it was full
OTHERS = "others"


class Refused:
    """Counts what is refused, and writes it down once a minute; the first at once.

    Parameters
    ----------
    write : callable
        Takes a line.
    now_s : callable
        Seconds of a clock that only goes on.
    """

    def __init__(self, write: Callable[[str], None] | None = None, now_s: Callable[[], float] = time.monotonic) -> None:
        self._write, self._now_s = write or append, now_s
        self._counts: dict[tuple[str, int], tuple[str, int]] = {}  # the time of day of the first, and how many
        self._next_s = float("-inf")

    @property
    def due_in_s(self) -> float | None:
        """In how long what was counted is to be written down; None where nothing waits."""
        return max(0.0, self._next_s - self._now_s()) if self._counts else None

    def note(self, address: str, status: int) -> None:
        """An answer of this status went to this address."""
        if status in WHY:
            fits = (address, status) in self._counts or len(self._counts) < MOST_KINDS
            kind = address if fits else OTHERS, status
            at, times = self._counts.get(kind, (datetime.now(UTC).isoformat(timespec="seconds"), 0))
            self._counts[kind] = at, times + 1
        if self._counts and self._now_s() >= self._next_s:
            self.flush()

    def flush(self) -> None:
        """Write down what was counted."""
        self._next_s = self._now_s() + EVERY_S
        for (address, status), (at, times) in self._counts.items():
            line = {"at": at, "address": address, "status": status, "times": times, "why": WHY[status]}
            self._write(json.dumps(line) + "\n")
        self._counts.clear()


def append(line: str) -> None:
    """Append a line to the record in the home of records; a full disk loses it and hurts nobody. A full record becomes
    the one before.
    """
    path: Path = home() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not path.is_file():
            return
        if path.exists() and path.stat().st_size >= MOST_BYTES:
            os.replace(path, path.with_name(FILE + BEFORE))
        with path.open("a", encoding="utf-8") as file:
            file.write(line)
    except OSError:
        return

"""Past holds to look back at: their list, one of them or several, and the files of each.

A hold is addressed by a key made from its folder, and looked up in the list: nothing in an address is ever a path.
"""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from bainwright.archive.listing import Entry, entry_of_log, list_holds
from bainwright.core.errors import BainError
from bainwright.core.read_file import is_own
from bainwright.display.picture import PNG, SVG
from bainwright.page.past_chart import chart_of
from bainwright.record.names import CSV
from bainwright.record.reader import read_log
from bainwright.review.night import Night
from bainwright.review.night import review as review_log

FILES = {
    SVG: "image/svg+xml", PNG: "image/png", "hold.csv": "text/csv; charset=utf-8", "hold.json": "application/json",
    "events.jsonl": "application/x-ndjson", "hold.parquet": "application/vnd.apache.parquet",
    "temper.json": "application/json", "stock.json": "application/json",
}  # fmt: skip
PICTURES = (SVG, PNG)  # shown in the page; the others are downloaded
MOST_LISTED = 200  # chosen: half a year of evenings; bain holds lists all
MOST_COMPARED = 12  # chosen: half a second of processor time for each that is not reviewed yet
WRITES_S = 60.0  # chosen: a hold writes each second, and less often only while its board is gone
MOST_HELD = 24  # reviews that are stored for the next look; chosen


class Listed(NamedTuple):
    """A hold in the list."""

    key: str
    entry: Entry

    @property
    def runs(self) -> bool:
        """Has it no end yet, and does it still write its log? By this PC's clock, which may be set."""
        try:
            written_s = (Path(self.entry.folder) / CSV).stat().st_mtime
        except OSError:
            return False
        return not self.entry.ended and self.entry.duration_s is None and abs(time.time() - written_s) < WRITES_S


class Reviewed(NamedTuple):
    """A hold with its chart as SVG, or why it cannot be read."""

    night: Night | None
    notes: list[str]
    chart: str = ""


class PastHolds:
    """Looks holds up; safe to use from several threads, and one review at a time is worked out."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._held: OrderedDict[object, Reviewed] = OrderedDict()

    def listed(self) -> list[Listed]:
        """Every hold, the newest first."""
        return [Listed(key_of(entry), entry) for entry in list_holds()]

    def find(self, keys: Sequence[str]) -> list[Listed]:
        """The holds of some keys, in the order of the list; keys that no hold has are left out."""
        return [each for each in self.listed() if each.key in keys]

    def reviewed(self, listed: Listed) -> Reviewed:
        """The review of a hold."""
        folder = Path(listed.entry.folder)
        state = listed.key, _changed(folder)
        with self._lock:
            if state not in self._held:
                self._held[state] = _review(folder)
                while len(self._held) > MOST_HELD:
                    self._held.popitem(last=False)
            return self._held[state]


def key_of(entry: Entry) -> str:
    """What addresses a hold: short, and nobody's path."""
    return hashlib.sha256(entry.folder.encode(errors="surrogatepass")).hexdigest()[:16]


def _changed(folder: Path) -> tuple[int, ...]:
    """When each file of a hold last changed, 0 for one that is not there."""
    moments = []
    for name in FILES:
        try:
            moments.append((folder / name).stat().st_mtime_ns)
        except OSError:
            moments.append(0)
    return tuple(moments)


def _review(folder: Path) -> Reviewed:
    try:
        log = read_log(folder)
        return Reviewed(review_log(entry_of_log(folder, log), log), list(log.notes), chart_of(log))
    except BainError as failed:
        return Reviewed(None, [str(failed)])


def files_of(entry: Entry) -> list[str]:
    """The files of a hold that are there."""
    return [name for name in FILES if is_own(Path(entry.folder) / name)]

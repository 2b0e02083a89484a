"""Which hold of an archive is the same as another: two PCs take the time of its start from two clocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from bainwright.archive.identity import BEGAN_S, SAME_C, SAME_SHARE
from bainwright.archive.listing import Entry
from bainwright.record.log_rows import glob_escaped
from bainwright.record.reader import HoldLog

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


class Start(NamedTuple):
    """The board, its own number of a hold, and its start, seconds since 1970; simulated boards have one id."""

    board: str
    hold: int | None
    started_s: float | None
    virtual: bool

    def may_be(self, other: Start) -> bool:
        """May they be one hold?"""
        if self.started_s is None or other.started_s is None or self.virtual or other.virtual:
            return False
        same = self.board == other.board and self.hold is not None and self.hold == other.hold
        return same and abs(self.started_s - other.started_s) < BEGAN_S


def start_of(entry: Entry) -> Start:
    """That of a hold in the list."""
    return Start(entry.board, entry.hold, entry.started_s, entry.virtual)


def known_holds(database: DuckDBPyConnection, archive: Path, files: Mapping[str, str]) -> list[tuple[Start, str]]:
    """The holds of an archive with their files; none where one of its files is damaged: then only names tell."""
    import duckdb

    if not files:
        return []
    try:
        lines = database.execute("SELECT hold_id, board, board_hold, started_utc, virtual FROM read_parquet(?)",
                                 [glob_escaped(archive / "holds") + "/*/*/*.parquet"]).fetchall()
    except duckdb.Error:
        return []
    return [(Start(board or "", hold, None if started is None else started.replace(tzinfo=UTC).timestamp(),
                   bool(virtual)), files[name])
            for name, board, hold, started, virtual in lines if name in files]  # fmt: skip


def other_copy(database: DuckDBPyConnection, archive: Path, start: Start, log: HoldLog,
               known: Sequence[tuple[Start, str]]) -> str | None:
    """The file of another copy of a hold: of one board, number and start, and with the same water in common seconds."""
    import duckdb

    own = dict(zip(log["t_s"].tolist(), log["water_c"].tolist(), strict=True))
    for other, file in known:
        if not start.may_be(other):
            continue
        try:
            rows = database.execute("SELECT t_s, water_c FROM read_parquet(?) WHERE water_c IS NOT NULL",
                                    [glob_escaped(archive / "rows" / file)]).fetchall()
        except duckdb.Error:
            continue
        both = [(own[t_s], water_c) for t_s, water_c in rows if t_s in own and own[t_s] == own[t_s]]
        if both and sum(abs(one - two) <= SAME_C for one, two in both) >= SAME_SHARE * len(both):
            return file
    return None

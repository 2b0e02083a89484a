"""A board in memory that writes the firmware's own log to a folder and sends it over the wire."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fake_board import FakeBoard, gone, status_line

from bainboard import flashlog, log_folder, settings
from bainboard.chunks import base64_text

ASKED = [
    ("stage", "work"), ("for_ms", 0), ("room", 20000), ("warmer", "fake"), ("settings", ""), ("name", "dark"),
    ("kind", "dark"), ("low_c", 31000), ("target_c", 31500), ("high_c", 32000), ("ceiling_c", 34500),
    ("never_above_c", 55000),
]  # fmt: skip


class LoggingBoard(FakeBoard):
    """Its hold is made by `live`; what the host reads comes from the log."""

    def __init__(self, flash: Path, *, wall_s: int = 0, **hello: Any) -> None:
        super().__init__(**hello)
        self.folder = log_folder.Folder(str(flash))
        self.log = flashlog.FlashLog(self.folder)
        self.now_ms = 1000
        self.log.open(settings.defaults(settings.SETTINGS), self.now_ms, wall_s)
        self.event("boot", 0, cause="PWRON_RESET")
        self.reads = 0
        self.breaks_after: int | None = None  # reads until the cable is pulled

    def event(self, name: str, t_ms: int, **fields: Any) -> None:
        """Something happens."""
        self.log.event(self.now_ms, t_ms, name, list(fields.items()))

    def start(self, **asked: Any) -> None:
        """A hold begins."""
        self.log.begin(self.now_ms, [(name, asked.get(name, value)) for name, value in ASKED])
        self.hello["hold"], self.hello["state"] = self.log.hold, "hold"
        self.t_ms = 0
        self.event("started", 1000, stage="work", check_s=60)

    def hold(self, seconds: int, *, water: int = 33000, bowl: int = 31500, state: str = "hold") -> list[bytes]:
        """So many seconds of it; what a PC that listens would hear."""
        said = []
        for _ in range(seconds):
            self.now_ms += 1000
            self.t_ms += 1000
            now = water + self.t_ms // 1000 % 4 * 62  # some steps of a probe
            line = (1, self.t_ms, state, "work", now, bowl, 0, 31500, 33100, 2000, 200, 0, 0, "", 0)
            self.log.status(self.now_ms, line)
            said.append(status_line(self.t_ms // 1000, self.t_ms, water=line[4], bowl=bowl, state=state))
            self._work()
        return said

    def _work(self) -> None:
        if self.log.overdue_ms(self.now_ms) is not None:
            self.log.sync(self.now_ms)

    def end(self, why: str = "done") -> None:
        """The hold ends."""
        self.event("ended", self.t_ms, why=why)
        self.hello["state"] = "idle"
        self.settle()

    def settle(self) -> None:
        """All of it is on the flash."""
        self.log.flush(self.now_ms)

    # -- what the host asks -------------------------------------------------------------------------------------------

    def _do_clock(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        self.log.set_clock(self.now_ms, message["wall_s"])
        return []

    def _do_segments(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        self._work()
        found = self.log.segment(message.get("after", 0))
        if found is None:
            return [("left", 0)]
        first, last, size, crc, left = found
        return [("first", first), ("last", last), ("size", size), ("crc", f"{crc:08x}"), ("left", left)]

    def _do_read(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        if self.breaks_after is not None and self.reads >= self.breaks_after:
            raise gone()
        self.reads += 1
        return [("at", message["at"]), ("data", base64_text(self.log.read(message["segment"], message["at"], 120)))]

    def _do_forget(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        return [("going", self.log.forget(message["through"], self.now_ms))]

    def files(self) -> dict[str, bytes]:
        """The segments on its flash."""
        return {name: self.folder.read(name, 0, 1 << 20) for name in sorted(self.folder.names())}



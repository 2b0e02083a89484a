"""A small host for tests: sends requests to a virtual board and reads until the wanted line comes."""

from __future__ import annotations

from typing import Any

import serial

from bainboard import wire
from bainwright.virtual.board import VirtualBoard

MOST_LINES = 2000  # half an hour of the board's


class Talk:
    """A host that asks and reads."""

    def __init__(self, board: VirtualBoard) -> None:
        self.board = board
        self._id = 0
        self._open()

    def _open(self) -> None:
        self.port = serial.Serial(self.board.path, timeout=20)
        self._heard = b""

    def cut_power(self, for_s: float) -> None:
        """Cut the board's power; what it had still to say is lost, and it is heard from its start on."""
        self.board.power_cut(for_s)
        self.port.close()
        self._open()

    def _through(self, mark: bytes) -> bytes:
        """What is said up to a mark and with it; nothing after the port's time-out.

        pyserial's own readline asks for each byte by itself, and is too slow for a board whose time runs fast.
        """
        while mark not in self._heard:
            piece = self.port.read(max(1, self.port.in_waiting))
            if not piece:
                return b""
            self._heard += piece
        said, _, self._heard = self._heard.partition(mark)
        return said + mark

    def prompt(self) -> bool:
        """Does MicroPython's prompt come?"""
        return bool(self._through(b">>> "))

    def ask(self, do: str, **fields: Any) -> dict[str, Any]:
        """The answer to a request."""
        self._id += 1
        self.port.write(wire.encode([("id", self._id), ("do", do), *fields.items()]))
        return self.until(lambda said: said.get("re") == self._id)

    def until(self, wanted: Any) -> dict[str, Any]:
        """The first message that is wanted; a board that talks on and never says it has failed."""
        for _ in range(MOST_LINES):
            line = self._through(b"\n")
            assert line, "the board fell silent"
            said, _ = wire.decode(line)
            if said is not None and wanted(said):
                return said
        raise AssertionError(f"not said within {MOST_LINES} lines; the last was {line!r}")

    def event(self, name: str) -> dict[str, Any]:
        """The next event of that name."""
        return self.until(lambda said: said.get("event") == name)

    def hands_off(self, asked: dict[str, Any]) -> None:
        """Wait until the button is up again after a reported long press."""
        self.until(lambda said: said.get("t", 0) > asked["t"] + 3000)

    def asked(self, ask: str) -> dict[str, Any]:
        """The next line that asks this."""
        return self.until(lambda said: said.get("ask") == ask)

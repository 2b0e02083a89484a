"""What can be done to a board's clock, flash, link and button: by name, with a number."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from bainwright.virtual.python_hardware import TICKS, ResetError

if TYPE_CHECKING:
    from .fast import Player


def _hang(player: Player, seconds: float) -> None:
    player.desk.hang(round(seconds * 1e6))


def _early(player: Player, ms: float) -> None:
    """A flipped bit in the firmware's timetable, and a byte that wakes it: the next tick comes too soon."""
    app = player.app
    if app is not None:
        app._tick_ms = app._last_ms + round(ms)
        player.desk.heard += b"\n"


def _jump(player: Player, ms: float) -> None:
    player.desk.ticks_ahead_ms = (player.desk.ticks_ahead_ms + round(ms)) % TICKS


def _cut_flash(player: Player, number: float) -> None:
    """Whole: the operation so many from now; negative: the same, torn."""
    player.flash.torn = number < 0
    player.flash.cut_at = player.flash.operations + abs(round(number))


def _flash_fails(player: Player, number: float) -> None:
    player.flash.fails = round(number) or None


def _flood(player: Player, seconds: float) -> None:
    """The host writes without end: rubbish that keeps the firmware's ear busy."""
    desk, until_us = player.desk, player.desk.now_us + round(seconds * 1e6)
    burst = b"\x00{not json}*DEADBEEF\n" * 12

    def more() -> None:
        desk.heard += burst
        if desk.now_us < until_us:
            desk.at(desk.now_us + 20_000, more)

    more()


def _say(player: Player, number: float) -> None:
    """One of the messages nobody should send; what is right at rest is not sent then."""
    line = RUDE[int(number) % len(RUDE)]
    at_rest = player.app is None or player.app.warmer.state in ("idle", "trip")
    if not (at_rest and b"maintenance" in line):
        player.desk.heard += line


def _memory_out(player: Player, _: float) -> None:
    raise MemoryError("memory allocation failed, allocating 512 bytes")


def _crash(player: Player, _: float) -> None:
    raise ValueError("an error nobody foresaw")


def _press(player: Player, bits: float) -> None:
    player.desk.buttons = int(bits)


def _host_gone(player: Player, gone: float) -> None:
    player.desk.host_reads = not gone


def _reset(player: Player, _: float) -> None:
    player.desk.die(ResetError("WDT_RESET"))


def _interrupt(player: Player, _: float) -> None:
    raise KeyboardInterrupt


DESK_ACTS: dict[str, Callable[[Player, float], None]] = {
    "hang": _hang, "early": _early, "jump": _jump, "cut_flash": _cut_flash, "flash_fails": _flash_fails,
    "flood": _flood, "say": _say,
    "memory_out": _memory_out, "crash": _crash, "press": _press, "host_gone": _host_gone, "interrupt": _interrupt,
    "reset": _reset,
}


def _framed(text: str) -> bytes:
    return text.encode() + f"*{zlib.crc32(text.encode()):08X}\n".encode()


RUDE = (
    b"\xff\xfe\x00rubbish\n",
    b"x" * 700 + b"\n",
    b'{"id":1,"do":"stop"}*00000000\n',
    _framed('{"id":1e999,"do":"stop"}'),
    _framed('{"id":7,"do":"start","stage":"work","for_ms":1e999}'),
    _framed('{"id":7,"do":"clear"}'),
    _framed('{"id":8,"do":"start","stage":"work","for_ms":NaN}'),
    _framed('{"id":9,"do":"announce","in_s":-5}'),
    _framed('{"id":10,"do":"start","stage":"work","room":93000}'),
    _framed('{"id":11,"do":"set","heater":1}'),
    _framed('{"id":12,"do":"commit"}'),
    _framed('{"id":13,"do":"begin","what":"settings","size":99999,"sha256":"0"}'),
    _framed('{"id":14,"do":"chunk","at":0,"data":"AAAA"}'),
    _framed('{"id":15,"do":"thicker","by":99}'),
    _framed('{"id":16,"do":"maintenance"}'),
    _framed('[1,2,3]'),
    _framed('{"id":17,"do":"begin","what":"profile","size":64,"sha256":"' + "0" * 64 + '"}'),
)

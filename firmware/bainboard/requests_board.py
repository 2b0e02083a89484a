"""Requests about the board itself. See `requests_hold`."""

import binascii
import sys

from bainboard import VERSION, wire
from bainboard.chunks import short_hash
from bainboard.wire import milli


def hello(app, args: dict, now_ms: int) -> tuple:
    """Which board, which firmware, in which state."""
    w, d = app.warmer, app.documents
    version = VERSION + "+" + app.version if app.version else VERSION
    seldom: list = [] if app.confirm_version() else [("kept", False)]  # the next start takes the version before
    if app.panel_logic.locked:
        seldom.append(("locked", True))
    python: tuple = sys.implementation[1]  # type: ignore[index]  # a tuple on every port
    return seldom + [
        ("version", version), ("wire", wire.VERSION),
        ("python", ".".join([str(part) for part in python[:3]])), ("state", w.state),
        ("t", app.hold_ms(now_ms)), ("fault", w.fault),
        ("settings", short_hash(d.payload["settings"])), ("profile", short_hash(d.payload["profile"])),
        ("board", binascii.hexlify(app.board.identity()[1]).decode()),
        ("hold", app.log.hold),
        ("name", d.settings["name"]),  # last: the one that may be cut to fit the line
    ], None


def cold(app, args: dict, now_ms: int) -> tuple:
    """Lock the heat out for a while."""
    if app.warmer.no_heat:  # a probe in a hand sees no water
        return None, app.warmer.no_heat
    # It ends by itself: a PC that went away must not leave a warmer that will not start.
    app.standalone.lock_out(now_ms + args["for_ms"])
    return [], None


def silence(app, args: dict, now_ms: int) -> tuple:
    """Quiet the buzzer."""
    app.panel_logic.silence(now_ms)
    return [], None


def lock(app, args: dict, now_ms: int) -> tuple:
    """Lock the large buttons, or unlock them."""
    if not app.warmer.values["panel"]:
        return None, "no panel is fitted"
    app.lock(args["at"] == "on", now_ms)
    return [], None


def maintenance(app, args: dict, now_ms: int) -> tuple:
    """Leave for the REPL."""
    if app.warmer.no_heat:  # nobody would watch the water there
        return None, app.warmer.no_heat
    app.service.leave = True
    return [], None


def bus(app, args: dict, now_ms: int) -> tuple:
    """Look along the 1-wire bus, then read one probe after the other."""
    from bainboard import fitting

    board = app.board
    if args["at"] == 0:
        return [("kind", board.kind), ("count", fitting.find(board))], None
    found = fitting.found(board, args["at"])
    if found is None:
        return None, "at: no such probe was found; look along the bus first, with at 0"
    rom, temp_c, code = found
    return [("rom", rom), ("temp", milli(temp_c)), ("code", code)], None

"""The one module that opens serial ports: it lists them, opens one, and says what to type when that fails."""

from __future__ import annotations

import errno
import os
import sys
import time
from pathlib import Path
from typing import Any

import serial
from serial.tools import list_ports

from bainwright.core.errors import BainError, BusyPortError, LinkError

READ_SLICE_S = 0.05  # chosen: a key, a Ctrl-C or the screen never waits longer than this for a silent board
WRITE_LIMIT_S = 2.0  # chosen: a board that takes no byte for this long is not listening
AGAIN_S = 0.1  # chosen: between two tries
BAUD = 115200  # USB serial ignores it; behind a UART bridge the console runs at this rate (MicroPython's default)

# USB makers' numbers, from memory (usb.org's list): Raspberry Pi, MicroPython, Espressif, Adafruit, SparkFun, Seeed,
# and the bridges of Silicon Labs, WCH and FTDI. Other makers' boards are found when none of these is plugged in.
SILICON_LABS = 0x10C4
BOARD_MAKERS = {0x2E8A, 0xF055, 0x303A, 0x239A, 0x1B4F, 0x2886, SILICON_LABS, 0x1A86, 0x0403}


class LostBoardError(LinkError):
    """The port was open and the board went away."""


def usb_ports() -> list[tuple[str, str]]:
    """The serial ports a board may be on, as (path, description).

    Those of USB makers of boards or of serial bridges; every port on USB when there are none of those.
    """
    on_usb = [port for port in list_ports.comports() if port.vid is not None]
    found = [port for port in on_usb if port.vid in BOARD_MAKERS] or on_usb
    return [(port.device, port.description or "") for port in sorted(found, key=lambda port: port.device)]


class SerialTransport:
    """Bytes to and from one open port.

    Parameters
    ----------
    port : serial.SerialBase
        An open port whose timeout is `READ_SLICE_S`.
    """

    def __init__(self, port: Any) -> None:
        self._port = port
        self.name: str = port.port

    def read(self) -> bytes:
        """What has arrived; waits at most `READ_SLICE_S` for a first byte.

        Raises
        ------
        LostBoardError
            If the port is gone.
        """
        try:
            first = self._port.read(1)  # waits for one byte; then takes what is there
            return bytes(first + self._port.read(self._port.in_waiting)) if first else b""
        except OSError as lost:  # SerialException is one
            raise LostBoardError(f"the board on {self.name} is gone", hint="look at the cable") from lost

    def write(self, data: bytes) -> None:
        """Send all of `data`.

        Raises
        ------
        LostBoardError
            If the port is gone or takes nothing.
        """
        try:
            self._port.write(data)
        except OSError as lost:
            raise LostBoardError(f"the board on {self.name} takes no more", hint="look at the cable") from lost

    def close(self) -> None:
        """Close the port; a port that is already gone is closed enough."""
        try:
            self._port.close()
        except OSError:
            return


def open_port(path: str, within_s: float = 0.0) -> SerialTransport:
    """Open a port for exclusive use.

    Parameters
    ----------
    path : str
        The port.
    within_s : float
        How long to try.

    Raises
    ------
    LinkError
        If it is missing, busy, forbidden or not a serial port; the hint says what to type.
    """
    deadline_s = time.monotonic() + within_s
    while True:
        try:
            return _open(path)
        except LinkError:
            if time.monotonic() >= deadline_s:
                raise
            time.sleep(AGAIN_S)


def _open(path: str) -> SerialTransport:
    try:
        port = serial.serial_for_url(path, do_not_open=True)
        port.baudrate, port.timeout, port.write_timeout = BAUD, READ_SLICE_S, WRITE_LIMIT_S
        port.exclusive = True
        _open_without_reset(port, _uneven(path))
    except Exception as failed:  # pyserial's handlers of addresses raise six kinds, and those of others any
        raise explain(path, failed) from failed
    return SerialTransport(port)


def _open_without_reset(port: Any, uneven: bool) -> None:
    """Open with DTR and RTS both on: a USB board sends only to a host that shows its presence by DTR.

    Behind a bridge, either line alone holds the board in reset or starts its boot loader; both together do neither.
    The system raises both as it opens, so nothing changes. With a driver that raises them one after the other
    (`uneven`), open with neither, then raise them in the order that resets nothing.
    """
    port.dtr = port.rts = not uneven
    port.open()
    if uneven:
        port.dtr = True
        port.rts = True


def _uneven(path: str) -> bool:
    """Silicon Labs' driver on Windows."""
    if not sys.platform.startswith("win"):
        return False
    return any(port.vid == SILICON_LABS for port in list_ports.comports() if port.device.upper() == path.upper())


def is_pseudo_terminal(path: str) -> bool:
    """Is this a pseudo-terminal, as `bain board` serves? A real board's port is not."""
    return os.path.realpath(path).startswith("/dev/pts/")


def explain(path: str, failed: BaseException) -> BainError:
    """Why a port would not open, with the line to type on Linux."""
    code = _code(failed)
    if code in (errno.EACCES, errno.EPERM):
        return LinkError(f"not allowed to open {path}", hint=_permission(path))
    if code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return BusyPortError(f"another program has {path} open", hint=_who(path))
    if code in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return LinkError(f"there is no port {path}", hint=_others())
    return LinkError(f"{path} does not open as a serial port", hint=_others())


def _code(failed: BaseException) -> int | None:
    """The system's error number. On Windows pyserial passes on only the text, and "denied" there means in use."""
    code: int | None = getattr(failed, "errno", None)
    if code is None and "FileNotFoundError" in str(failed):
        return errno.ENOENT
    if code is None and "PermissionError" in str(failed):
        return errno.EBUSY
    return code


def _who(path: str) -> str:
    """How to see who has a port."""
    if not sys.platform.startswith("linux"):
        return "close it first"
    return (
        f"close it first; to see which: fuser -v {path}   "
        "(ModemManager looks at a port for some seconds after it was plugged in: then wait and try again)"
    )


def _permission(path: str) -> str:
    """The command that lets this user open the port, with the group the port belongs to."""
    if not sys.platform.startswith("linux"):
        return "close other programs that use it and plug it in again"
    try:
        group = Path(path).group()
    except (OSError, KeyError):
        group = "dialout"  # the usual owner; uucp on some
    # Nobody should join these groups for a serial port, and to join one that may not open it either does not help.
    if group in ("root", "wheel") or _shut_to_group(path):
        return f"type: sudo chmod a+rw {path}   which lasts until it is unplugged"
    return f"type once: sudo usermod -a -G {group} $USER   then log out and in again"


def _shut_to_group(path: str) -> bool:
    """Does the port's own group lack read or write permission?"""
    try:
        return os.stat(path).st_mode & 0o060 != 0o060
    except OSError:
        return False


def _others() -> str:
    """Words for the ports that exist instead."""
    found = usb_ports()
    if not found:
        return "no board is plugged in; plug it in, or try it all with --virtual"
    return "there is " + ", ".join(f"{path} ({what})" for path, what in found)

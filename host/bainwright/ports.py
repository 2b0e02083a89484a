"""The one module that opens serial ports: which there are, opening one, and what to type when that fails."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from pathlib import Path
from typing import Any

import serial
from serial.tools import list_ports

from bainwright.errors import BainError, LinkError, UseError

READ_SLICE_S = 0.05  # chosen: a key, a Ctrl-C or the screen never waits longer than this for a silent board
WRITE_LIMIT_S = 2.0  # chosen: a board that takes no byte for this long is not listening
BAUD = 115200  # USB serial ignores it; a board behind a UART bridge runs its console at this (MicroPython's default)


class LostBoardError(LinkError):
    """The port was open and the board went away."""


def usb_ports() -> list[tuple[str, str]]:
    """The serial ports that hang on USB, as (path, what it calls itself)."""
    found = [port for port in list_ports.comports() if port.vid is not None]
    return [(port.device, port.description or "") for port in sorted(found, key=lambda port: port.device)]


def choose_port(asked: str | None) -> str:
    """The port to open: the one asked for, or the only one there is.

    Raises
    ------
    LinkError
        If none is plugged in.
    UseError
        If there are several and none was asked for.
    """
    if asked:
        return asked
    found = usb_ports()
    if not found:
        raise LinkError("no board is plugged in", hint="plug it in, name its --port, or try it all with --virtual")
    if len(found) > 1:
        listed = ", ".join(f"{path} ({what})" for path, what in found)
        raise UseError(f"several boards are plugged in: {listed}", hint=f"say which, for instance --port {found[0][0]}")
    return found[0][0]


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
            first = self._port.read(1)  # waits; the rest has come with it or has not
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


def open_port(path: str) -> SerialTransport:
    """Open a port for this program alone.

    Raises
    ------
    LinkError
        If it is missing, busy, not ours to open, or no serial port; the words carry what to type.
    """
    try:
        port = serial.serial_for_url(path, do_not_open=True)
        port.baudrate, port.timeout, port.write_timeout = BAUD, READ_SLICE_S, WRITE_LIMIT_S
        port.exclusive = True
        port.open()
    except (OSError, ValueError) as failed:
        raise explain(path, failed) from failed
    with contextlib.suppress(OSError):  # a pseudo-terminal has no such line: ioctl gives ENOTTY
        port.dtr = True  # a USB-CDC board only talks to a host that says it is there
    return SerialTransport(port)


def is_pseudo_terminal(path: str) -> bool:
    """Is this a terminal that a program serves (`bain board`)? A real board's port is a device of its own."""
    return os.path.realpath(path).startswith("/dev/pts/")


def explain(path: str, failed: BaseException) -> BainError:
    """Why a port would not open, with the line to type on Linux."""
    code = getattr(failed, "errno", None)
    if code in (errno.EACCES, errno.EPERM):
        return LinkError(f"not allowed to open {path}", hint=_permission(path))
    if code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return LinkError(f"another program has {path} open", hint=f"close it first; to see which: fuser -v {path}")
    if code in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return LinkError(f"there is no port {path}", hint=_others())
    return LinkError(f"{path} does not open as a serial port", hint=_others())


def _permission(path: str) -> str:
    """The line that lets this user open the port, naming the group the port really belongs to."""
    if not sys.platform.startswith("linux"):
        return "close other programs that use it and plug it in again"
    try:
        group = Path(path).group()
    except (OSError, KeyError):
        group = "dialout"  # the usual owner; uucp on some
    return f"type once: sudo usermod -a -G {group} $USER   then log out and in again"


def _others() -> str:
    """The ports there are instead."""
    found = usb_ports()
    if not found:
        return "no board is plugged in; plug it in, or try it all with --virtual"
    return "there is " + ", ".join(f"{path} ({what})" for path, what in found)

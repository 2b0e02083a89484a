"""What a warmer has stored, and a file on the PC would replace: refused where a calibration is lost, else said."""

import contextlib
import json
from types import SimpleNamespace
from typing import Any

import pytest
from fake_board import FakeBoard, FakeSession

from bainboard import settings
from bainwright import cli
from bainwright.chocolates import board as chocolates
from bainwright.core.errors import RefusedError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.starting import Starter
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, short_hash
from bainwright.files.rig import load_rig
from bainwright.rigs import board
from bainwright.rigs.rigfile import rig_text

MINE = {**load_rig("pot").settings, "probe.water.rom": "28aabbccddeeff01", "probe.bowl.rom": "28aabbccddeeff02"}


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_text(rig_text(MINE, MINE))
    monkeypatch.setattr("bainwright.evening.starting.check_ids", lambda rig: None)


class Set(FakeBoard):
    """A board that is set up as the rig file was, with some settings changed since, and with these chocolates."""

    def __init__(self, names: list[str] | None = None, **since: Any) -> None:
        super().__init__(name="pot")
        payload = document("settings", {**MINE, **since})
        self.stored["settings"] = payload
        self.hello["settings"], self.hello["name"] = short_hash(payload), MINE["name"]
        self._names = names or []

    def _do_profiles(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        at = message["at"]
        return [("name", self._names[at]), ("profile", "00000000")] if at < len(self._names) else []


def started(there: FakeBoard) -> list[str]:
    """What the person reads at the start of a hold with this rig file."""
    starter = Starter(resolve(HoldRequest("dark", for_="1h", rig="mine.toml")), FakeSession(there))
    starter.hello = there.hello
    starter._refuse_unless_idle()
    starter._send_documents()
    return starter._changed


@pytest.mark.parametrize("name", board.CORRECTIONS)
def test_a_correction_that_the_warmer_has_and_the_file_has_not_is_kept(name):
    """A hold replaced it without a word; it may be degrees, of a window of one."""
    low, high = next((row[settings.LOW], row[settings.HIGH]) for row in settings.SETTINGS if row[settings.NAME] == name)
    there = Set(**{name: low + (high - low) / 8})
    with pytest.raises(RefusedError, match=rf"another calibration than mine.toml.*{name}.*bain rig get.*bain rig send"):
        started(there)
    assert "begin" not in [asked["do"] for asked in there.asked]


def test_a_correction_of_the_file_comes_to_a_warmer_that_has_none():
    settings_now = {**MINE, "probe.water.offset_c": 0.25}
    with open("mine.toml", "w") as file:
        file.write(rig_text(settings_now, settings_now))
    assert started(Set()) == ["mine.toml changes settings of the warmer: probe.water.offset_c"]


def test_what_a_rig_file_changes_on_a_warmer_is_said():
    assert started(Set(heater_w=120.0, room_c=25.0)) == ["mine.toml changes settings of the warmer: heater_w, room_c"]
    assert started(Set()) == []


@pytest.mark.parametrize(("since", "wrong"), [
    ({}, []),
    ({"drill": "passed"}, []),
    ({"probe.water.offset_c": 2.5, "name": "Oma", "resume": True}, [
        'name: "pot" in the file, "Oma" in the warmer', "probe.water.offset_c: 0 in the file, 2.5 in the warmer",
        "resume: false in the file, true in the warmer"]),
])
def test_a_check_with_the_board_compares_each_setting(since, wrong, monkeypatch, capsys):
    """It compared the probes alone, and said of any figures that they match the board."""
    monkeypatch.setattr("bainwright.virtual.opening.open_board",
                        lambda *_: contextlib.nullcontext(FakeSession(Set(**since))))  # fmt: skip
    monkeypatch.setattr("bainwright.rigs.bus.look", lambda link: SimpleNamespace(probes=[], kind="pico"))
    monkeypatch.setattr("bainwright.rigs.warnings.on_board", lambda values, there: [])
    assert cli.main(["rig", "check", "mine.toml", "--port", "here", "--json"]) == bool(wrong)
    assert json.loads(capsys.readouterr().out)["wrong"] == wrong


SIX = ["white", "milk", "ruby", "a", "b", "c"]


@pytest.mark.parametrize(("names", "lost"), [(SIX, "c"), (SIX[:5], ""), ([*SIX[:5], "dark"], "")])
def test_a_chocolate_that_gives_way_to_another_is_named(names, lost):
    """Whoever chose it for the buttons would start another one."""
    said = [f"dark takes the place of {lost} in the warmer"] if lost else []
    assert started(Set(names)) == said
    sent = chocolates.send(FakeSession(Set(names)).link, [load_profile("dark")])
    assert (", in place of c)" in sent[0]) is bool(lost)


def test_a_document_that_is_refused_while_a_hold_runs_is_refused_in_words():
    there = Set()
    there.refusals["begin"] = "begin: profile are not taken in state check, wanted idle or trip; stop first"
    with pytest.raises(RefusedError, match="did not take the profile; a hold runs on it: end that first"):
        chocolates.send(FakeSession(there).link, [load_profile("dark")])

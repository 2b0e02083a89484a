"""The permit for nights on its ways to a board: only this board's own drill gives it, and a refusal takes it back."""

import contextlib
import json
from types import SimpleNamespace

import pytest
from drill_tools import rig as settings_of
from fake_board import FakeBoard, FakeSession

from bainwright import cli
from bainwright.core.errors import RefusedError
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.starting import Starter
from bainwright.files import documents
from bainwright.files.documents import OPEN
from bainwright.files.rig import load_rig
from bainwright.install import permit
from bainwright.rigs import board, bus
from bainwright.rigs.rigfile import rig_text


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(("stored", "sent"), [("passed", 1), ("simulated", 1), ("open", 0)])
def test_a_night_that_is_refused_does_not_start_at_the_buttons(stored, sent):
    """The board believed what it was told before, from a file or in another drill."""
    session, uploaded = FakeSession(FakeBoard()), []
    session.link = SimpleNamespace(settings=lambda hello: {**settings_of(), "drill": stored},
                                   upload=lambda what, payload: uploaded.append(payload))  # fmt: skip
    starter = Starter(resolve(HoldRequest("melted", of="dark", for_="8h")), session)
    starter.hello, starter.settings = FakeBoard().hello, settings_of()
    with pytest.raises(RefusedError, match="not every trip and cut-out"):
        starter._set_drill_status()
    opened = documents.document("settings", {**settings_of(), "drill": OPEN})
    assert uploaded == [opened] * sent


@pytest.mark.parametrize("typed", ["passed", "simulated", "overridden"])
def test_a_rig_file_gives_no_permit(typed, monkeypatch, capsys, tmp_path):
    """It may be another warmer's, read back by `bain rig get`."""
    sent = []
    monkeypatch.setattr("bainwright.virtual.opening.open_stored",
                        lambda *_: contextlib.nullcontext(FakeSession(FakeBoard())))  # fmt: skip
    monkeypatch.setattr(board, "send", lambda link, rig: sent.append(rig.settings["drill"]) or ["drill"])
    monkeypatch.setattr(bus, "look", lambda link: SimpleNamespace(probes=[]))
    monkeypatch.setattr("bainwright.rigs.warnings.on_board", lambda *_: [])
    monkeypatch.setattr("bainwright.rigs.warnings.check_ids", lambda rig: None)
    (tmp_path / "wp.toml").write_text(rig_text(settings := {**load_rig("pot").settings, "drill": typed}, settings))
    assert cli.main(["rig", "send", "wp.toml"]) == 0, capsys.readouterr().err
    assert sent == ["open"]


@pytest.mark.parametrize(("drill", "version", "stored", "told"), [
    ("passed", "0.1.0+bbbb2222", "open", [permit.LOST]),
    ("passed", "0.1.0+aaaa1111", "passed", []),
    ("passed", None, "open", []),  # broken off, at any moment
    ("open", "0.1.0+bbbb2222", "open", []),
])
def test_another_firmware_takes_the_permit_from_the_board_s_own_buttons(drill, version, stored, told, monkeypatch):
    """They ask the stored setting alone."""
    board_s = {**settings_of(), "drill": drill}

    def upload(what, payload):
        board_s.update({"drill": "open", **json.loads(payload)})

    link = SimpleNamespace(settings=lambda hello: dict(board_s), upload=upload)
    monkeypatch.setattr(permit, "linked", lambda port, wait_s: contextlib.nullcontext(link))
    before, said = {"version": "0.1.0+aaaa1111"}, []
    if permit.take_back("here", before) and version is not None:
        said = permit.settle("here", before, {"version": version})
    assert (board_s["drill"], said) == (stored, told)

"""Inputs that nobody plans for still get words that are true."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
import time
from multiprocessing import Pipe
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest
from fake_board import event_line, status_line

from bainwright.archive.listing import entry_of, list_holds
from bainwright.chocolates.board import stored_profiles
from bainwright.cli import main
from bainwright.commands import console
from bainwright.core.errors import FileError, LinkError, UseError
from bainwright.core.read_file import PIECE_BYTES, read_pieces
from bainwright.core.toml import read_toml
from bainwright.core.units import is_moment
from bainwright.core.user_folder import make_user_folder, process_of, user_folder
from bainwright.link.answers import SEGMENT_MOST_BYTES, event_of
from bainwright.link.messages import Status, decode, reference
from bainwright.live import joining
from bainwright.physics.materials import CP_SOLID
from bainwright.record.collecting import list_segments
from bainwright.record.columns import HEADER, row
from bainwright.record.reader import read_log
from bainwright.record.temper_tests import TemperTest
from bainwright.record.writer import make_folder
from bainwright.review import night_page
from bainwright.review.hold_list import aligned
from bainwright.tuning.compiled import Unit
from bainwright.virtual.simulator import Simulator

PLANT = """
class Hot:
    temps_c = {'water': 'hot'}
    def step(self, power_w, dt_s):
        pass
"""


class Weighs:
    """A class for the translator that uses a figure of the materials."""

    def __init__(self) -> None:
        self.mass_kg = 2.0

    def stores_j_per_k(self) -> float:
        """Uses the figure's value."""
        return self.mass_kg * CP_SOLID.value


def test_a_figure_of_the_materials_is_compiled_by_its_value() -> None:
    unit = Unit(Weighs())
    unit.method(Weighs, "stores_j_per_k")
    assert f"CP_SOLID_value = {CP_SOLID.value!r}" in unit.text()


def test_a_plant_without_numbers_is_refused_before_the_hold(
    tmp_path: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "hot.py").write_text(PLANT)
    assert main(["hold", "dark", "--plant", f"{tmp_path / 'hot.py'}:Hot", "--for", "1m"]) == 2
    said = capsys.readouterr().err
    assert "could not convert" in said
    assert "wanted temperatures from the first step on" in said


def test_a_hold_that_fits_by_its_offset_is_not_over_its_limit(capsys: pytest.CaptureFixture[str]) -> None:
    main(["plan", "white", "--total", "20kg", "--rig", "plate", "--room", "5"])
    said = " ".join(capsys.readouterr().out.split())
    assert "0.0 K over" not in said
    assert "though by the offset of the rig file 31.4 °C is enough" in said


def test_a_bath_filled_warmer_than_the_hold_is_not_warmed_up(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "dark", "--total", "1.8kg", "--water-temp", "50", "--cold-water", "40"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "warm the water up" not in said
    assert "Have the water down at 32.7 °C when the bowl comes back." in said


@pytest.mark.parametrize(
    ("stray", "words"),
    [
        (["--left", "1kg"], "--left belongs to --pieces; leave it out"),
        (["--left", "1kg", "--waste", "5%"], "--waste and --left belong to --pieces; leave them out"),
    ],
)
def test_options_that_belong_to_pieces_are_counted(
    stray: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", "dark", "--total", "1kg", *stray]) == 2
    assert words in capsys.readouterr().err


def test_a_simulator_whose_user_has_gone_ends_without_a_traceback() -> None:
    user, control = Pipe()
    user.close()
    simulator: Any = SimpleNamespace(control=control, _open=True)
    Simulator._answer(simulator, os.devnull)
    assert not simulator._open


def test_a_hold_with_no_known_chocolate_temperature_has_no_verdict(tmp_path: Any) -> None:
    report = {"in_window_fraction": None, "bowl_peak_c": None, "water_peak_c": 32.7}
    assert entry_of(tmp_path, {"ended": "done", "report": report}).verdict == "not known"
    assert entry_of(tmp_path, {"ended": "done"}).verdict == "not known"  # no report: the disk was full
    report = {"in_window_fraction": 0.0, "bowl_peak_c": 29.0}
    assert entry_of(tmp_path, {"ended": "done", "report": report}).verdict == "never there"


@pytest.mark.parametrize("name", ["hold.svg", "hold.png"])
@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero"), lambda path: path.mkdir()])
def test_a_review_reads_no_picture_that_is_none(tmp_path: Any, name: str, make: Any) -> None:
    """A pipe, an endless device, a folder: the page says that there is no picture, and the reader does not wait."""
    make(tmp_path / name)
    assert night_page._picture(tmp_path) == "<p>There is no picture.</p>"
    assert night_page._pixels(tmp_path / name).shape == (1, 1, 3)


def test_a_folder_name_that_is_no_text_is_refused(tmp_path: Any) -> None:
    with pytest.raises(UseError, match="--out is not text"):
        make_folder(tmp_path / "\udcff", "dark")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere file names are text")
def test_a_folder_name_that_is_no_text_does_not_break_the_list(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BAIN_HOME", str(tmp_path))
    for name in ("\udcff", "dark-1"):
        (tmp_path / "holds" / name).mkdir(parents=True)
        (tmp_path / "holds" / name / "hold.json").write_text("{}")
    assert [each.name for each in list_holds()] == ["dark-1"]


def test_melted_stock_that_the_bowl_cannot_hold_is_not_passed_over(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "melted", "--total", "3kg"]) == 0
    assert "The bowl is full at 2.00 kg: melt the other 1.00 kg elsewhere" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("total", "words"),
    [("2.5kg", "495 g. A refill of 500 g follows, in temper."), ("3kg", "2 refills of 500 g follow, in temper.")],
)
def test_a_few_refills_are_weighed_in_the_short_plan(
    total: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", "dark", "--total", total]) == 0
    assert words in " ".join(capsys.readouterr().out.split())


def test_half_a_character_in_a_hold_costs_that_hold_s_facts_and_no_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RFC 8259 allows the escape; no UTF-8 file can store it (RFC 3629)."""
    monkeypatch.setenv("BAIN_HOME", str(tmp_path))
    for name in ("good", "evil"):
        folder = tmp_path / "holds" / name
        folder.mkdir(parents=True)
        (folder / "hold.json").write_text('{"boot": "\\ud800", "stage": "\\udfff"}' if name == "evil" else "{}")
    assert sorted(each.name for each in list_holds()) == ["evil", "good"]
    assert event_of({"event": "x", "number": "\ud800"}) is None


def test_a_time_that_cannot_be_is_no_report_of_a_hold() -> None:
    """A view has a word for each minute: 28,000 years of them fill any memory."""
    assert decode(status_line(1, 10**9)[:-1]) is not None
    for t_ms in (10**9 + 1, 9 * 10**14, -1):
        assert decode(status_line(1, t_ms)[:-1]) is None
        assert decode(event_line("warm", 1, t_ms)[:-1]) is None


@pytest.mark.parametrize(("field", "value"), [
    ("water", 1_000_033_000), ("bowl", -60_001), ("target", 300_001), ("duty", 10_001), ("on", -1), ("est", 2),
    ("fault", 256), ("drops", -1),
])  # fmt: skip
def test_a_figure_that_cannot_be_is_no_report_of_a_hold_and_no_row_of_its_log(
    tmp_path: Path, field: str, value: int
) -> None:
    """Fits and solvers were given a million degrees."""
    line = status_line(2, 2000, **{field: value})[:-1]
    assert decode(line) is reference(line) is None
    good = decode(status_line(1, 1000)[:-1])
    assert isinstance(good, Status)
    wild = msgspec.structs.replace(good, **{field: value})
    if field != "drops":  # the link's own business
        (tmp_path / "hold.csv").write_text(f"{HEADER}\n{row(1000, good)}{row(2000, wild)}{row(3000, good)}")
        assert list(read_log(tmp_path)["t_s"]) == [1.0, 3.0]


def test_a_field_of_an_event_given_as_null_is_not_there() -> None:
    assert decode(event_line("stirred", 1, 1000, shift=None)[:-1]) == {"event": "stirred", "n": 1, "t": 1000}


def test_a_verdict_of_a_later_version_is_shown_by_its_name() -> None:
    assert "weird" in TemperTest(60.0, "dark", 20.0, 5.0, None, None, "weird", "warmer").words()


def test_a_folder_that_anybody_else_may_write_to_is_not_the_user_s(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its name is known, and everybody may make folders and links where it is."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    folder = make_user_folder()
    assert user_folder() == folder
    folder.chmod(0o777)
    assert user_folder() is None
    folder.rmdir()
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    folder.symlink_to(tmp_path / "elsewhere")
    assert user_folder() is None
    with pytest.raises(PermissionError):
        make_user_folder()


@pytest.mark.parametrize("text", ["a." * 100 + "b = 1", "[" + "a . " * 100 + "b]", "x = {" + '"a".' * 100 + "b = 1}"])
def test_names_nested_too_deeply_are_refused_before_they_are_read(tmp_path: Path, text: str) -> None:
    """100 KB of them, which TOML allows, take the standard library's reader some minutes."""
    path = tmp_path / "deep.toml"
    path.write_text(text)
    with pytest.raises(FileError, match="nested too deeply"):
        read_toml(path, "rig")
    path.write_text('note = "as on the bag ............................................."\n[a.b.c]\nd.e = 1\n')
    assert read_toml(path, "rig")["a"] == {"b": {"c": {"d": {"e": 1}}}}


def test_a_pipe_is_neither_an_archive_of_holds_nor_a_flash_image(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe")
    assert main(["gather", "pipe"]) != 0
    assert "is not a plain file" in capsys.readouterr().err
    assert main(["hold", "dark", "--virtual", "--image", "pipe", "--for", "1m"]) != 0
    assert "is not a plain file" in capsys.readouterr().err


class Endless:
    """A board that has one more chocolate, whichever is asked for."""

    def request(self, do: str, at: int) -> dict[str, str]:
        return {"name": f"{do}-{at}", "profile": "0" * 12}


def test_a_list_of_chocolates_that_does_not_end_is_refused() -> None:
    with pytest.raises(LinkError, match="lists more than 6 chocolates"):
        stored_profiles(Endless(), {})  # type: ignore[arg-type]


class Vast:
    """A board with more log than any flash holds."""

    def request(self, do: str, after: int) -> dict[str, Any]:
        return {"first": after + 1, "last": after + 1, "size": SEGMENT_MOST_BYTES, "crc": "0"}


def test_a_log_longer_than_a_flash_is_refused_before_any_of_it_is_read() -> None:
    with pytest.raises(LinkError, match="lists over 16 MB of log"):
        list_segments(Vast())  # type: ignore[arg-type]


def test_a_closed_input_is_nobody_at_the_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python has no `sys.stdin` then: `bain rig new <&-`, or a service without one."""
    monkeypatch.setattr(sys, "stdin", None)
    assert console.is_asked() is False


def test_a_file_for_a_slow_reader_comes_in_pieces_and_only_as_far_as_it_was(tmp_path):
    path = tmp_path / "hold.csv"
    path.write_bytes(b"x" * (2 * PIECE_BYTES + 5))
    pieces = read_pieces(path)
    with path.open("ab") as file:
        file.write(b"more")
    assert [len(piece) for piece in pieces] == [PIECE_BYTES, PIECE_BYTES, 5]
    for wrong, limit in ((path, PIECE_BYTES), (tmp_path, 1 << 20), (tmp_path / "none", 1)):
        with pytest.raises(FileError):
            read_pieces(wrong, limit=limit)


def test_names_in_the_user_s_folder_that_are_no_process_are_passed_over() -> None:
    assert [process_of(name) for name in ("²", "9" * 30, "0", "-1", "٣", "x", "")] == [None] * 7
    assert process_of(str(os.getpid())) == os.getpid()


def test_a_socket_that_never_ends_its_first_line_is_no_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(joining, "ANSWERS_S", 0.2)
    monkeypatch.chdir(tmp_path)  # a socket's path must be short
    with socket.socket(socket.AF_UNIX) as server:
        server.bind("x.hold")
        server.listen(1)

        def trickle() -> None:
            with contextlib.suppress(OSError), server.accept()[0] as connection:
                for _ in range(1000):
                    connection.sendall(b"x")
                    time.sleep(0.05)

        threading.Thread(target=trickle, daemon=True).start()
        with pytest.raises(LinkError, match="does not answer"):
            joining.Joined(Path("x.hold"))


@pytest.mark.parametrize(("text", "possible"), [
    ("0001-01-01T00:00:00+23:59", False), ("9999-12-31T00:00:00-23:59", False), ("2026-11-29T22:00:00", False),
    ("1969-12-31T23:59:50+00:00", True), ("2200-01-01T00:00:00+00:00", True), ("soon", False),
])  # fmt: skip
def test_a_start_in_a_year_that_no_calendar_reaches_is_none(text: str, possible: bool) -> None:
    """In UTC the first of them is in the year 0."""
    assert is_moment(text) is possible


def test_a_text_of_a_stranger_s_facts_is_visible_in_lists_and_reports() -> None:
    entry = entry_of(Path("x"), {"report": {"summary": "\x1b[2J"}, "stage": "\u202ework", "rig": {"name": "a\nn99"}})
    assert (entry.summary, entry.stage, entry.warmer) == ("\\u001b[2J", "\\u202ework", "a\\u000an99")
    assert aligned([("hold", "warmer"), ("dark-1", "a\nn99")]) == ["hold    warmer", "dark-1  a\\u000an99"]

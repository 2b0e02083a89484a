"""Temper tests: the verdict by the chocolate's times, stored beside the log. Times: common practice, no source."""

from __future__ import annotations

import json

import pytest
from fake_board import status_line

from bainwright import cli
from bainwright.archive.listing import entry_of
from bainwright.core.errors import FileError, UseError
from bainwright.files.chocolate import load_profile
from bainwright.link.messages import decode
from bainwright.record.reader import read_facts
from bainwright.record.taken_back import take_back
from bainwright.record.temper_tests import chocolate_at, judge, logged_tests, read_tests, valid_tests
from bainwright.record.writer import LiveLog

DARK = load_profile("dark").document()


@pytest.mark.parametrize(
    ("minutes", "gloss", "streaks", "verdict"),
    [
        (4.5, None, None, "good"),
        (5.0, "good", "none", "good"),
        (7.0, "good", "none", "slow"),
        (10.5, "good", "none", "failed"),
        (None, None, None, "failed"),
        (4.0, "dull", "none", "slow"),
        (4.0, "good", "some", "slow"),
        (4.0, "dull", "some", "failed"),
        (4.0, "good", "many", "failed"),
    ],
)
def test_dark_that_sets_in_five_minutes_is_in_temper_unless_it_looks_otherwise(minutes, gloss, streaks, verdict):
    """Dark sets in about 5 minutes or less; what has not in 10-15 is not in temper."""
    assert judge(DARK, minutes, gloss, streaks) == verdict


def test_milk_may_take_longer():
    """Somewhat longer: common practice, no source; the figure is chosen."""
    assert judge(load_profile("milk").document(), 7.0, None, None) == "good"


def test_a_test_seen_too_late_has_no_minutes():
    found = logged_tests([{"event": "tested", "t_s": 9.0, "verdict": "late", "took_s": 700}], {"profile": DARK})
    assert (found[0].minutes, found[0].verdict) == (None, "late")


def test_a_test_of_the_second_bowl_is_of_that_chocolate():
    """One the host knows, one it does not, and the first one again."""
    events = [{"event": "tested", "t_s": 5.0, "verdict": "good", "took_s": 270}]
    for t_s, name in ((10.0, "milk"), (20.0, "my cru"), (30.0, "dark")):
        events += [{"event": "changed", "t_s": t_s, "name": name},
                   {"event": "tested", "t_s": t_s + 5.0, "verdict": "good", "took_s": 400}]
    assert [test.kind for test in logged_tests(events, {"profile": DARK})] == ["dark", "milk", "my cru", "dark"]
    assert chocolate_at(events, {"profile": DARK}, 15.0)["set_min"] == load_profile("milk").set_min


def test_a_test_whose_answer_was_taken_back_is_no_test():
    failed = {"event": "tested", "t_s": 5.0, "verdict": "failed", "took_s": 90}
    good = {"event": "tested", "t_s": 25.0, "verdict": "good", "took_s": 270}
    slip = {"event": "taken_back", "t_s": 6.0, "undid": "thicker", "ask": "setting", "target": 31500}
    other = {"event": "taken_back", "t_s": 26.0, "undid": "rest", "ask": "", "target": 31500}
    assert valid_tests([failed, slip, good, other]) == [good]
    assert [test.verdict for test in logged_tests([failed, slip, good], {"profile": DARK})] == ["good"]


@pytest.fixture
def folder(tmp_path):
    """A hold of a minute with one test that the warmer timed."""
    log = LiveLog(tmp_path, {"profile": DARK, "room_c": 19.0})
    for n in range(1, 61):
        log.status(n * 1000, decode(status_line(n, n * 1000)[:-1]))
    log.event(30000, "tested", {"verdict": "good", "took_s": 270})
    log.close()
    return tmp_path


def temper(capsys, *arguments):
    """Exit status, the record, stderr."""
    code = cli.main(["temper", *map(str, arguments), "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else None, err


def test_what_the_warmer_timed_is_shown_and_how_it_looked_completes_it(folder, capsys):
    code, tests, _ = temper(capsys, folder)
    assert code == 0
    assert (tests[0]["minutes"], tests[0]["room_c"], tests[0]["gloss"], tests[0]["by"]) == (4.5, 19.0, None, "warmer")
    assert not (folder / "temper.json").exists()  # looking changes nothing
    code, tests, _ = temper(capsys, folder, "--gloss", "dull", "--streaks", "some", "--room", "21")
    assert code == 1
    assert (tests[0]["verdict"], tests[0]["room_c"]) == ("failed", 21.0)
    assert json.loads((folder / "temper.json").read_text()) == tests


def test_a_time_of_one_s_own_is_a_test_of_its_own(folder, capsys):
    code, tests, _ = temper(capsys, folder / "hold.csv", "--minutes", "6")
    assert code == 0
    assert [(test["minutes"], test["verdict"], test["by"]) for test in tests] == [
        (4.5, "good", "warmer"), (6.0, "slow", "person")]
    code, tests, _ = temper(capsys, folder, "--not-set")
    assert (code, tests[-1]["verdict"], len(tests)) == (1, "failed", 3)


@pytest.mark.parametrize(("typed", "minutes"), [
    ("4.5", 4.5), ("4,5", 4.5), ("4:30", 4.5), ("4:30 min", 4.5), ("4 min", 4.0), ("4m30s", 4.5), ("270s", 4.5),
    ("4 Minutes", 4.0)])
def test_a_time_is_taken_as_it_is_read_off(folder, capsys, typed, minutes):
    """Four and a half minutes are 270 s."""
    assert temper(capsys, folder, "--minutes", typed)[1][-1]["minutes"] == minutes


@pytest.mark.parametrize("typed", ["4:75", "soon", "4h", "nan", "s"])
def test_what_is_no_time_is_refused_with_an_example(folder, capsys, typed):
    assert cli.main(["temper", str(folder), "--minutes", typed]) == 2
    assert "wanted minutes, such as 4.5, 4:30 or 4m30s" in capsys.readouterr().err


def test_no_test_brings_back_crystals_that_the_hold_has_melted(folder, capsys):
    facts = folder / "hold.json"
    facts.write_text(json.dumps({**json.loads(facts.read_text()), "report": {"temper": "molten", "summary": "Held."}}))
    assert cli.main(["temper", str(folder), "--minutes", "4"]) == 0
    assert "so warm that no crystal was left" in capsys.readouterr().err
    assert entry_of(folder, read_facts(folder)).temper == "molten"


def test_a_room_in_which_little_sets_is_said_and_wet_chocolate_has_no_gloss(folder, capsys):
    """18 to 22 °C is common practice, no source."""
    for room, said in (("40", True), ("68F", False)):
        cli.main(["temper", str(folder), "--minutes", "4", "--room", room])
        last = capsys.readouterr().out.splitlines()[-1]
        assert ("too warm for a test" in last) == said
    code, _, err = temper(capsys, folder, "--not-set", "--gloss", "good")
    assert code == 2
    assert "contradict" in err


def test_the_last_entry_is_taken_back_and_no_more(folder, capsys):
    temper(capsys, folder, "--gloss", "dull")
    temper(capsys, folder, "--not-set")
    code, tests, _ = temper(capsys, folder, "--undo")
    assert (code, [test["gloss"] for test in tests]) == (0, ["dull"])
    code, tests, err = temper(capsys, folder, "--undo")
    assert (code, tests) == (2, None)
    assert "nothing to take back" in err


def test_the_first_entry_taken_back_leaves_what_the_warmer_timed(folder, capsys):
    temper(capsys, folder, "--gloss", "dull", "--streaks", "many")
    code, tests, _ = temper(capsys, folder, "--undo")
    assert (code, tests[0]["gloss"], tests[0]["verdict"]) == (0, None, "good")
    assert sorted(path.name for path in folder.glob("temper*")) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--undo", "--minutes", "5"), "enters nothing"),
        (("--minutes", "-3"), "--minutes: got -3, wanted 0.5 to 120"),
        (("--minutes", "nan"), "--minutes"),
        (("--minutes", "900"), "got 900, wanted 0.5 to 120"),
        (("--minutes", "5", "--not-set"), "contradict"),
        (("--minutes", "5", "--room", "68"), "looks like °F"),
        (("--gloss", "shiny"), "shiny"),
        (("--room", "21"), "--room belongs to a test"),
    ],
)
def test_wrong_use_is_refused_in_words(folder, capsys, arguments, words):
    code, tests, err = temper(capsys, folder, *arguments)
    assert (code, tests) == (2, None)
    assert words in err


def test_stock_that_was_only_melted_has_no_temper_to_test(tmp_path, capsys):
    log = LiveLog(tmp_path, {"profile": DARK})
    for n in range(1, 61):
        log.status(n * 1000, decode(status_line(n, n * 1000, stage="melt" if n < 30 else "melted")[:-1]))
    log.close()
    code, tests, err = temper(capsys, tmp_path, "--minutes", "4")
    assert (code, tests) == (2, None)
    assert "melted chocolate and tempered none" in err
    assert not (tmp_path / "temper.json").exists()


def test_a_link_in_the_place_of_the_entry_before_is_not_taken_back(folder, tmp_path):
    (tmp_path / "private").write_text("private")
    (folder / "temper.json.before").symlink_to(tmp_path / "private")
    with pytest.raises(UseError, match="nothing to take back"):
        take_back(folder / "temper.json", "temper test")
    assert not (folder / "temper.json").exists()


def test_a_damaged_record_is_named(folder, capsys):
    (folder / "temper.json").write_text("[{]")
    code, _, err = temper(capsys, folder)
    assert code == 2
    assert "is not a record of temper tests" in err


def test_a_folder_without_a_log_is_named(tmp_path, capsys):
    code, _, err = temper(capsys, tmp_path / "none")
    assert code == 2
    assert f"there is no hold {str(tmp_path / 'none')!r}" in err


GOOD = {"t_s": 60.0, "kind": "dark", "room_c": 19.0, "minutes": 4.5, "gloss": None, "streaks": None,
        "verdict": "good", "by": "person"}  # fmt: skip


@pytest.mark.parametrize("wrong", [
    {"t_s": 3600.0}, {"kind": "milk"}, {"minutes": 90.0}, {"minutes": None}, {"streaks": "many"}, {"gloss": "superb"},
    {"verdict": "splendid"}, {"by": "nobody"},
], ids=str)
def test_a_test_that_cannot_be_of_this_hold_decides_nothing(folder, wrong):
    """A hold of a minute, of dark chocolate, with a temper that was lost: no file from elsewhere brings it back."""
    facts = read_facts(folder) | {"duration_s": 60.0, "ended": "done", "report": {"temper": "lost"}}
    (folder / "hold.json").write_text(json.dumps(facts))
    (folder / "temper.json").write_text(json.dumps([GOOD]))
    assert entry_of(folder, facts).temper == ""
    (folder / "temper.json").write_text(json.dumps([GOOD | wrong]))
    assert entry_of(folder, facts).temper == "lost"
    with pytest.raises(FileError, match=r"temper\.json"):
        read_tests(folder)


def test_a_test_of_the_next_bowl_fits_its_hold(folder):
    """By the event that names its chocolate; where the events are damaged, nobody knows better."""
    facts = read_facts(folder) | {"duration_s": 60.0}
    (folder / "hold.json").write_text(json.dumps(facts))
    (folder / "temper.json").write_text(json.dumps([GOOD | {"kind": "milk", "minutes": 7.0}]))
    events = folder / "events.jsonl"
    lines = events.read_text()
    events.write_text(lines + json.dumps({"event": "changed", "t_s": 40.0, "name": "milk"}) + "\n")
    assert [test.kind for test in read_tests(folder)] == ["milk"]
    events.write_text(lines + "{damaged\n")
    assert [test.kind for test in read_tests(folder)] == ["milk"]

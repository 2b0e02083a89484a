"""The campaign's own tests, and the part of it that every run of the tests plays."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from typing import Any

import pytest

from bainwright.core.errors import BainError

from . import campaign, heap, mutants, on_board, strikes, tables
from .cases import Case, build, load, parse
from .evenings import EVERYDAY
from .fast import Player, Row
from .judge import limit_c, play, play_whole, twin_of
from .phases import START_S
from .rigs import KIN, THREE, warmer
from .search import genes, hunt

ONE_CASE_A_FAULT = [
    Case(1, THREE[number % 3], (strike.phases or ("quiet",))[-1], (strike.name,))
    for number, strike in enumerate(strikes.STRIKES)
]
PLAYED = [case for case in ONE_CASE_A_FAULT if strikes.possible(strikes.BY_NAME[case.acts[0]], warmer(case.rig))]


@pytest.mark.parametrize("case", PLAYED, ids=str)
def test_each_fault_is_reported_in_its_time_and_breaks_no_invariant(case: Case) -> None:
    """Times: formulas of the rig in `strikes.py`; invariants: `judge.py`."""
    result = play(case)
    assert result.good, [*result.broken, result.missed]


@pytest.mark.parametrize("part", ["singles", "kin", "pairs", "flash", "clock", "link"])
def test_a_sample_of_each_part_is_good(part: str) -> None:
    """Evenly picked; the whole is `python -m tests.faults run`."""
    bad = {str(case): [*result.broken, result.missed] for case in campaign.sample(part, 3)
           for result in [play(case)] if not result.good}
    assert bad == {}


@pytest.mark.parametrize("act", EVERYDAY)
def test_no_everyday_act_trips_anything(act: str) -> None:
    """On one of the three warmers and on a relative, in turn; the campaign plays each on all."""
    number = list(EVERYDAY).index(act)
    result = play(Case(7001, f"{KIN}{number}" if number % 2 else THREE[number // 2 % 3], "quiet", (act,)))
    assert not result.broken
    assert result.trips == 0


@pytest.mark.parametrize("line", ["3 pot/evening/none", "18 pot/melted_night/none"])  # a night of seven hours
def test_an_ordinary_evening_and_night_trip_nothing_and_hold(line: str) -> None:
    """And the heater really worked: the bowl came into its window."""
    result, trace = play_whole(parse(line))
    assert result.broken == []
    assert result.trips == 0
    assert trace.inside_s > 1800


def test_every_fault_of_the_firmwares_table_has_a_strike_that_shows_it() -> None:
    """A new row of the table must come with a way to bring it about."""
    assert strikes.uncovered() == []


def test_ticks_that_come_some_milliseconds_late_change_no_duty() -> None:
    """What a host that floods the board does to it: requests that are answered when a tick is due.

    Probes are read later, too, so that one is sometimes a step off; up to there duty is the same to the last bit.
    """
    play = replace(build(parse("3 pot/quiet/none")).play, end_s=1800.0)
    delays = random.Random(1)
    late_at: list[int] = []

    def passes(late: bool) -> list[tuple[Any, ...]]:
        """What was read and asked for at each tick."""
        seen: list[tuple[Any, ...]] = []

        def watch(player: Player, app: Any, row: Row) -> None:
            seen.append((row.water_c, app.warmer.bowl_c, row.duty))
            wait = player.desk.pass_until

            def overslept(target_us: int, until_heard: bool = False) -> None:
                wait(target_us, until_heard)
                if player.desk.now_us // 1000 >= app._tick_ms:
                    player.desk.charge(1000 * delays.randrange(1, 9))
                    player.desk.pass_until = wait  # type: ignore[method-assign]
                    late_at.append(len(seen))

            if late and len(seen) > 600 and len(seen) % 7 == 0:
                player.desk.pass_until = overslept  # type: ignore[method-assign]

        Player(play, watch).run()
        return seen

    both = zip(passes(False), passes(True), strict=True)
    same = list(takewhile(lambda two: two[0][:2] == two[1][:2], both))  # read the same
    assert all(on_time[2] == late[2] for on_time, late in same)
    assert len(same) > late_at[50]
    assert len({late[2] for _, late in same[600:]}) > 30


def test_the_firmware_is_really_played() -> None:
    """The heat that flowed is the duty it asked for: energy of the truth against on-time of the rows, 3 %."""
    built = build(parse("3 pot/quiet/none"))
    trace = Player(built.play).run()
    given_j = sum(row[4] for row in trace.truth)
    asked_j = sum(row.duty for row in trace.rows if row.state == "hold") * 150.0
    assert trace.seconds == pytest.approx(built.setting.end_s, abs=1.0)
    assert given_j - 150.0 * 3 * built.setting.pulse_s < asked_j < given_j * 1.03
    assert asked_j > 0.3 * given_j


def test_a_case_replays_to_the_same_trace_and_another_seed_does_not() -> None:
    """Invariant 18."""
    first, again, other = (play(parse(f"{seed} mat/warm_up/bowl_open")) for seed in (9, 9, 10))
    assert first.digest == again.digest != other.digest


def test_a_case_is_its_line() -> None:
    """Written and read back, for every case of the campaign's first round."""
    for part in campaign.PARTS:
        for case in campaign.cases(part, 1)[::97]:
            assert parse(str(case)) == case


@pytest.mark.parametrize("line", [
    "", "pot/quiet/none", "x pot/quiet/none", "-3 pot/quiet/none", "1.5 pot/quiet/none", "1 pot/quiet",
    "1 kettle/quiet/none",
    "1 pot/lunch/none", "1 pot/quiet/watr_open", "1 pot/quiet/say", "1 pot/quiet/say@x", "1 pot/quiet/lid@3",
    "99999999999 pot/quiet/none", "1 kin-/quiet/none", "1 pot/quiet/", "1 2 pot/quiet/none",
])
def test_what_is_no_case_is_refused_in_words(line: str) -> None:
    """What, got, wanted; no traceback."""
    with pytest.raises(BainError) as refused:
        parse(line)
    assert len(str(refused.value)) > 15


def test_a_file_that_is_none_of_cases_or_results_is_refused_with_its_line(tmp_path: Path) -> None:
    """A binary file, an empty one, a wrong line; a results file that is cut short is read up to there."""
    path = tmp_path / "cases"
    for content, says in ((b"\xff\xfe\x00", "no file of cases"), (b"# nothing\n", "no case in it"),
                          (b"1 pot/quiet/none\nrubbish\n", "line 2")):
        path.write_bytes(content)
        with pytest.raises(BainError, match=says):
            load(path)
    path.write_text("not json\n")
    with pytest.raises(BainError, match="line 1"):
        campaign.read_results(path)
    path.write_text('{"case": "1 pot/quiet/none", "firmware": "a"}\n{"case": "1 pot/qu')
    assert len(campaign.read_results(path)) == 1


def test_a_run_broken_off_continues_where_it_was(tmp_path: Path) -> None:
    """Results are kept one by one."""
    path = tmp_path / "results"
    todo = campaign.sample("clock", 4)
    rows = campaign.keep(path, campaign.run(todo, 1), "f")
    next(rows)
    next(rows)
    rows.close()
    assert {row["case"] for row in campaign.read_results(path, "f")} == {str(case) for case in todo[:2]}
    assert campaign.read_results(path, "g") == []


def test_settings_that_are_sent_are_stored_and_a_cut_leaves_old_or_new() -> None:
    """Invariant 13; without a cut the new ones are really there."""
    built = build(parse("4 pot/idle/upload@0"))
    trace = Player(built.play).run()
    assert any(built.setting.upload in data for path, data in trace.files.items() if path.startswith("/settings"))
    for cut in (1, -1, 2, -2):
        assert play(parse(f"4 pot/idle/upload@{cut}")).broken == []


def test_the_judge_fails_what_it_should() -> None:
    """A judge that passes everything would pass this too: the same case with its limits moved."""
    built = build(parse("1 pot/quiet/water_open"))
    assert limit_c(built) == pytest.approx(35.0)
    assert twin_of(parse("1 pot/quiet/say@3")) == parse("1 pot/quiet/none")
    assert twin_of(parse("1 pot/quiet/say@3+water_open")) is None
    assert START_S < built.setting.strike_s < built.setting.end_s


KILLED = (  # a part of the name, and a line that must notice
    ("without WATER_PROBE, water_unread, WAIT", "1 mat/quiet/water_open"),
    ("water_unread_for_long never", "2:zones/water_open/bowl/safe"),
    ("pass_too_long never", "1000 pot/quiet/late_pass"),
    ("bowl_unread always", "3:zones/none/bowl/safe"),
    ("limit lets everything through", "7 pot/quiet/late_pass"),
)


@pytest.mark.parametrize(("name", "line"), KILLED)
def test_a_supervisor_without_a_check_is_noticed(name: str, line: str) -> None:
    """By a line alone; the whole hunt (`python -m tests.faults mutate`) asks the firmware's own checks first."""
    mutant = next(mutant for mutant in mutants.mutants() if name in mutant.name)
    assert mutants.noticed(mutant, mutants.with_outcomes([line]))[0] == line


def test_a_line_that_differs_in_nothing_kills_no_mutant() -> None:
    """A hunt that calls everything noticed would pass the tests above too."""
    line = "2:zones/water_open/bowl/safe"
    sound = dict(mutants.with_outcomes([line]))
    assert mutants.differs(sound[line], mutants.outcome(line)) == ""


def test_mutants_cover_every_row_and_predicate() -> None:
    """A new check is hunted without a word here."""
    from bainboard import supervisor

    names = [mutant.name for mutant in mutants.mutants()]
    for _, predicate, _ in supervisor.CHECKS:
        assert any(predicate.__name__ in name and name.startswith("without") for name in names)
        assert f"{predicate.__name__} never" in names
        assert f"{predicate.__name__} always" in names


@pytest.mark.parametrize("case", on_board.sample(4), ids=str)
def test_both_engines_agree(case: Case) -> None:
    """Real MicroPython against CPython: same faults in the same pass, the same duty within the stated tolerance."""
    outcome = on_board.compare(case)
    assert outcome.good, str(outcome)


def test_the_tables_say_what_was_played(tmp_path: Path) -> None:
    """Figures come from results alone, the board's and the search's."""
    path, searched = tmp_path / "results", tmp_path / "searched"
    played = [parse("1 pot/quiet/water_open"), parse("1 mat/quiet/late_pass")]
    list(campaign.keep(path, campaign.run(played, 1), "abc"))
    lines = [genes.parse("1:zones/water_open/neither/learnt"), genes.parse("1:zones/none/bowl/safe")]
    list(hunt.keep(searched, (hunt.played(line) for line in lines)))
    text = tables.page(path, tmp_path / "none", [searched])
    assert "`abc`: 2" in text
    assert "`water_open` | water_probe" in text
    assert "`1:zones/water_open/neither/learnt`" in text
    assert "hours of healthy play, of 2,000 aimed at" in text


def test_the_three_warmers_and_twenty_relatives_are_in_their_ranges() -> None:
    """The stated ranges of the relatives."""
    for number in range(campaign.KINS):
        rig = warmer(f"{KIN}{number}").rig
        assert 60.0 <= rig.settings["heater_w"] <= 1000.0
        assert 0.8 <= rig.settings["water_l"] <= 6.0
        assert 5.0 <= rig.settings["heater_lag_s"] <= 120.0
        assert 5.0 <= rig.plant.water_probe_lag_s <= 30.0


def test_memory_that_runs_out_ends_off() -> None:
    """On the virtual board, 4 KB left free in a hold: a reset, then idle with every pin low."""
    day = heap.run(0.5, 4000, 700)
    assert "hold" in day.states
    assert day.states[-1] == "idle"
    assert day.duties[-1] == 0
    assert len(day.resets) == 1
    assert not any(day.pins)


def test_what_is_held_does_not_grow_from_the_first_half_hour_to_the_second() -> None:
    """Within 2 KB of this interpreter's bytes; `python -m tests.faults day` plays twenty-four hours."""
    used = heap.run(1.1, every_s=1800).used
    assert len(used) == 2
    assert abs(used[-1] - used[0]) < heap.GROWTH_BYTES

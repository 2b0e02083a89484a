"""The fault table: numbers never move, every row says what a person needs."""

from bainboard import faults, help_text


def test_a_fault_is_at_its_own_number():
    for n, row in enumerate(faults.FAULTS):
        assert row[faults.NUMBER] == n
        assert faults.row(n) is row
        assert getattr(faults, row[faults.NAME].upper()) == n


def test_the_numbers_that_logs_and_latch_records_carry_have_not_moved():
    names = [
        "none", "water_probe", "bowl_probe", "water_stuck", "heat_at_rest", "over_stage", "over_hard_limit",
        "late_loop", "run_timer", "guard_welded", "switch_shorted", "no_heat_at_start", "no_latch_record",
        "hot_before_start", "bad_clock", "crashed", "bad_settings", "heat_from_outside",
    ]
    assert [row[faults.NAME] for row in faults.FAULTS[:len(names)]] == names


def test_what_a_board_knows_of_the_table_is_what_stands_in_it():
    assert len(faults.FAULTS) == faults.COUNT
    for row in faults.FAULTS:
        assert (row[faults.HAZARD] == faults.UNPLUG) == bool(faults.TO_UNPLUG >> row[faults.NUMBER] & 1), row
    assert not faults.TO_UNPLUG >> faults.COUNT


def test_a_number_nobody_knows_reads_as_a_crash():
    for number in (-1, len(faults.FAULTS), 10**6):
        assert faults.row(number)[faults.NUMBER] == faults.CRASHED


def test_every_fault_says_how_it_ends_whether_it_is_safe_and_what_to_check():
    for row in faults.FAULTS[1:]:
        assert row[faults.REACTION] in (faults.OFF, faults.RETEST, faults.LATCH, faults.WARN, faults.NO_START)
        assert row[faults.HAZARD] in (faults.SAFE, faults.UNPLUG)
        seen, first = help_text.FAULTS[row[faults.NUMBER]]
        assert seen
        assert first
        assert len(first) <= 40  # two lines of a small display


def test_every_bit_of_the_warnings_fits_a_small_integer_of_a_board():
    assert len(faults.FAULTS) <= 30

"""An evening that cools and warms back, with a slip taken back, on the virtual board.

Oracle: the method as the trade describes it (common practice, no source): no seed; dark cools to 27-28 °C and is warmed
back to 31-32 °C, never over its window on the way.
"""

from __future__ import annotations

import json

import pytest

from bainwright import cli
from bainwright.record.reader import read_log

SCENARIO = """
duration_s = 5400
[start]
water_c = 48.0
bowl_c = 47.5
chocolate_kg = 1.5
room_c = 18.0
"""


def event(at_s, kind, **keys):
    """One event as TOML."""
    more = "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
    return f'[[event]]\nat_s = {at_s}\nkind = "{kind}"\n{more}'


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """The evening, played once: its log and its result."""
    folder = tmp_path_factory.mktemp("cooled")
    events = [
        event(240, "confirm"),  # all melted; a slip, since lumps are left
        event(260, "back"),
        event(300, "confirm"),
        event(320, "bowl_off", reported=True),
        event(340, "water_swap", litres=1.4, temp_c=15.0),
        event(380, "cold_bath", for_s=390, temp_c=18.0),
        event(380, "stir", for_s=600),
        event(1100, "confirm"),
        event(1110, "bowl_on", reported=True),
    ]
    (folder / "cool.toml").write_text(SCENARIO + "".join(events))
    out = folder / "hold"
    cli.main(["hold", "dark", "--virtual", "--from", "melt", "--method", "cool", "--for", "90m", "--scenario",
              str(folder / "cool.toml"), "--out", str(out)])
    return read_log(out)


def test_the_slip_is_taken_back_and_the_cooling_comes_after_the_second_yes(evening):
    stages = [(round(each["t_s"]), each["stage"]) for each in evening.events if each["event"] == "stage"]
    assert [stage for _, stage in stages] == ["cool", "melt", "cool", "settle"]
    assert [each["undid"] for each in evening.events if each["event"] == "taken_back"] == ["confirm"]


def test_it_calls_when_the_bowl_reads_28_and_not_before(evening):
    cooling = evening["ask"] == "cool_down"
    called = evening["ask"] == "cooled"
    assert cooling.any()
    assert called.any()
    assert evening["bowl_c"][cooling].min() > 27.9
    assert evening["bowl_c"][called].max() < 28.2


def test_warmed_back_it_comes_into_its_window_and_not_over_it(evening):
    settling = evening["stage"] == "settle"
    bowl_c = evening["bowl_c"][settling]
    assert bowl_c[0] < 28.5
    assert bowl_c.max() < 32.0
    assert bowl_c[-1] > 31.0
    assert "stir" in set(evening["ask"][settling])

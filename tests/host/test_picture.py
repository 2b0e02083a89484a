"""The picture of a hold: the same from the same data, complete, and with its captions where they can be read."""

import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import matplotlib.image
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bainboard import faults
from bainwright.display.captions import LEVELS, Caption, place_captions, span_s
from bainwright.display.picture import DPI, SIZE_IN, _all_captions, _limits_c, draw_hold
from bainwright.files.score import Window
from bainwright.page.past_chart import chart_of
from bainwright.record.columns import NAMES, TEXTS
from bainwright.record.reader import HoldLog

DARK = Window(31.0, 31.5, 32.0, 34.5)
SAID = "Held dark for 10 min: in its window 93 % of the time. The warmest the water got was 33.0 °C. No trips."


def log_of(seconds=600, **columns):
    """A log of so many seconds at rest, some columns otherwise."""
    n = seconds
    texts = {name: np.array([""] * n) for name in TEXTS}
    numbers = {name: np.zeros(n) for name in NAMES if name not in TEXTS}
    numbers |= {
        "t_s": np.arange(1.0, n + 1),
        "water_c": np.full(n, 33.0),
        "bowl_c": np.full(n, 31.5),
        "duty": np.full(n, 0.3),
    }
    events = [{"t_s": 60.0, "event": "warm"}, {"t_s": 300.0, "event": "inside"}]
    return HoldLog({name: (texts | numbers | columns)[name] for name in NAMES}, events=events)


def drawn(folder, log=None, truth=None, said=SAID, played=(), virtual=True):
    """The two files of a picture."""
    folder.mkdir(exist_ok=True)
    draw_hold(folder, log or log_of(), truth, DARK, said, list(played), virtual=virtual, name="dark")
    return folder / "hold.png", folder / "hold.svg"


def test_a_dollar_in_a_name_is_a_dollar(tmp_path):
    """Matplotlib reads what two of them enclose as a formula, and fails on one that is none."""
    draw_hold(tmp_path, log_of(), None, DARK, "$^^$", [], virtual=True, name="dark $\\frac$")
    assert "$^^$" in words_of(tmp_path / "hold.svg")


def words_of(svg):
    """Every text of an SVG: matplotlib draws text as outlines and writes it as a comment beside them."""
    parser = ElementTree.XMLParser(target=ElementTree.TreeBuilder(insert_comments=True))
    return "\n".join(node.text.strip() for node in ElementTree.parse(svg, parser).iter(ElementTree.Comment))


def test_the_same_hold_gives_the_same_files(tmp_path):
    """Byte for byte: no date, no random ids."""
    one, other = drawn(tmp_path / "a"), drawn(tmp_path / "b")
    for first, second in zip(one, other, strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_the_png_has_its_size_and_is_not_blank(tmp_path):
    """Read back by matplotlib's reader: the paper's colour is not all there is."""
    pixels = matplotlib.image.imread(drawn(tmp_path)[0])
    assert pixels.shape[:2] == (round(SIZE_IN[1] * DPI), round(SIZE_IN[0] * DPI))
    assert len(np.unique(pixels.reshape(-1, pixels.shape[2]), axis=0)) > 50


def test_everything_is_labelled_where_it_is(tmp_path):
    """Window, ceiling, chocolate, water, heat, the sentence, the events worth a caption; no legend."""
    words = words_of(drawn(tmp_path, played=[Caption(200.0, "cold refill: 0.30 kg")])[1])
    for part in (
        "window",
        "31 to 32 °C",
        "ceiling 34.5 °C",
        "chocolate",
        "water",
        "heat",
        "Held dark for 10 min",
        "the chocolate is in its window",
        "cold refill: 0.30 kg",
        "VIRTUAL",
    ):
        assert part in words
    assert "back in its window" not in words  # an edge, not an event worth a caption


def test_a_live_hold_is_not_marked_virtual(tmp_path):
    """And a virtual one always is (above)."""
    assert "VIRTUAL" not in words_of(drawn(tmp_path, virtual=False)[1])


def test_true_temperatures_after_the_hold_do_not_change_the_picture(tmp_path):
    """How far the simulated warmer runs on depends on the PC's speed; the picture must not."""
    files = []
    for seconds, folder in ((601, "a"), (650, "b")):
        at_s = np.arange(seconds)
        truth = {"t_ms": 1000 * at_s, "water_c": 33.0 + 0.001 * at_s, "bowl_c": np.full(seconds, 31.4)}
        files.append(drawn(tmp_path / folder, truth=truth))
    for first, second in zip(*files, strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_true_temperatures_and_estimates_are_named_as_what_they_are(tmp_path):
    """Truth is drawn in place of readings and so named; a bowl without a probe is estimated."""
    truth = {"t_ms": 1000 * np.arange(601), "water_c": np.full(601, 33.0), "bowl_c": np.full(601, 31.4)}
    assert "(true)" in words_of(drawn(tmp_path / "a", truth=truth)[1])
    assert "(estimated)" in words_of(drawn(tmp_path / "b", log=log_of(bowl_estimated=np.ones(600)))[1])


def test_a_plate_is_called_a_plate_in_the_picture_and_on_the_page(tmp_path):
    """A bowl on a plate meets no water."""
    log = log_of()
    log.facts |= {"bath": "plate", "profile": {"low_c": 31.0, "high_c": 32.0, "ceiling_c": 34.5}}
    assert "plate" in (said := words_of(drawn(tmp_path, log=log, said="Held dark for 10 min.")[1]))
    assert "water" not in said
    assert ">plate 33.0</text>" in chart_of(log)


@pytest.mark.parametrize(
    "columns",
    [
        {"bowl_c": np.full(600, np.nan)},
        {"bowl_c": np.full(600, np.nan), "water_c": np.full(600, np.nan)},
        {"water_c": np.linspace(5, 95, 600)},
        {"bowl_c": np.linspace(5, 31.5, 600)},
    ],
)
def test_odd_holds_are_drawn_too(tmp_path, columns):
    """No chocolate reading, no reading at all, a kettle's worth of range, a start from the fridge."""
    for path in drawn(tmp_path, log=log_of(**columns)):
        assert path.stat().st_size > 10_000


def test_a_hold_of_one_row_is_drawn(tmp_path):
    """Stopped in its first second."""
    assert drawn(tmp_path, log=log_of(1))[0].exists()


def test_a_cold_start_is_named_not_drawn(tmp_path):
    """The window stays large; where the chocolate came from is written."""
    assert "chocolate from 5 °C" in words_of(drawn(tmp_path, log=log_of(bowl_c=np.linspace(5, 31.5, 600)))[1])


moments = st.lists(st.tuples(st.floats(0, 13_200), st.text("abc ", min_size=1, max_size=60)), max_size=30)


@given(moments)
def test_no_caption_touches_another_in_its_row(moments):
    """Every row is read from left to right without overlap; at most four rows."""
    captions = sorted((Caption(*moment) for moment in moments), key=lambda caption: caption.t_s)
    spans = {row: [] for row in range(LEVELS)}
    for caption, row in place_captions(captions, 13_200.0):
        spans[row].append(span_s(caption, 13_200.0))
    for each in spans.values():
        assert all(before[1] <= after[0] for before, after in pairwise(sorted(each)))


def test_a_caption_that_ends_where_another_begins_has_a_row_of_its_own():
    """By the end of the picture words lie left of their line, and the next ones begin one second later."""
    last, rest = Caption(11_610.0, "the last tray is full, and it is late"), Caption(11_611.0, "next step: rest")
    rows = dict(place_captions([last, rest], 12_000.0))
    assert rows[last] != rows[rest]


def test_of_captions_close_together_the_last_is_lowest_so_that_no_line_runs_through_words():
    """Each line goes down from its words' beginning: one that comes later, higher up, would cross those below."""
    steps = [Caption(1000.0 + 60.0 * n, f"step {n}") for n in range(LEVELS)]
    assert [row for _, row in place_captions(steps, 12_000.0)] == [3, 2, 1, 0]


def test_what_an_evening_turned_on_has_its_words_before_what_happened_beside_it():
    """Four long captions come first in time and would take every row; the verdict keeps its own."""
    chatter = [Caption(float(n), "a step with a good many words, of no great weight to anybody") for n in range(6)]
    verdict = Caption(10.0, "temper test, 4:30 min: in temper", important=True)
    placed = place_captions([*chatter, verdict], 13_200.0)
    assert verdict in [caption for caption, _ in placed]
    assert len(placed) == LEVELS


def test_a_warning_that_a_step_brings_about_is_no_caption():
    """The bath is too warm for the bowl and then cold water is poured in, as asked; in dipping it is worth words."""
    warns = [{"t_s": 70.0, "event": "warn", "fault": faults.OVER_STAGE},
             {"t_s": 80.0, "event": "warn", "fault": faults.PROBE_OUT}]
    for stage, drawn in (("seed", False), ("work", True)):
        log = log_of()
        log.events = [{"t_s": 60.0, "event": "stage", "stage": stage}, *warns]
        texts = [caption.text for caption in _all_captions(log, [])]
        assert any("the water cooled fast" in text for text in texts) == drawn
        assert not any("warmer than this step" in text for text in texts)


def test_only_a_cold_start_is_cut_off_at_the_lower_edge():
    """By hand: the window's lower end is 31 °C, and the edge lies 3 °C under it unless the curve comes back below."""
    warm = np.array([20.0, 29.0, 31.5])
    assert _limits_c([warm], DARK)[0] == pytest.approx(28.7)
    assert _limits_c([np.concatenate((warm, [25.0, 31.5]))], DARK)[0] == pytest.approx(24.7)
    assert _limits_c([warm, np.array([18.0, 19.0])], DARK)[0] == pytest.approx(17.7)  # it never got warm
    assert _limits_c([np.array([np.nan])], DARK) == pytest.approx((30.7, 35.1))


def test_a_board_that_is_alone_after_a_trip_leaves_no_gaps_on_the_page():
    """It writes a row each 10 s, and after a trip each 100 s (FLASH.md): one line, as it was recorded whole."""
    log = log_of()
    t_s = np.concatenate([np.arange(300) * 10.0, 3000.0 + np.arange(300) * 100.0])
    log.columns["t_s"] = t_s
    log.columns["state"] = np.where(t_s >= 3000, "trip", "hold")
    log.facts |= {"row_s": 10.0, "profile": {"low_c": 31.0, "high_c": 32.0, "ceiling_c": 34.5}}
    drawn_line = next(line for line in chart_of(log).split("<path") if 'class="chocolate"' in line)
    assert drawn_line.count("M") == 1

"""What a person sees of a hold: the picture on a terminal, the big digits, the plain lines."""

import contextlib
import io
import os

import pytest
from fake_board import status_line
from hypothesis import given, settings
from hypothesis import strategies as st

from bainwright.core.progress import Progress
from bainwright.core.terminal import Unhurried, takes
from bainwright.display import scene_words, screen
from bainwright.display.digits import FIGURES, big_text
from bainwright.display.scene import ABOVE, BELOW, IN, UNKNOWN, Scene, place_of
from bainwright.display.view import FullScreen, PlainLines, choose_view
from bainwright.evening.keyboard import KEYS
from bainwright.evening.prompts import EveningPrompts
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.files.score import Window
from bainwright.link.messages import decode

DARK = Window(31.0, 31.5, 32.0, 34.5)


def scene_at(t_s=600, *, virtual=True, for_s=13200.0, seconds=1, **fields):
    """A scene that has seen some status lines, a minute apart, the last at t_s."""
    scene = Scene("dark", "the warmer 'pot'", DARK, virtual, for_s, 150.0)
    for ago in reversed(range(seconds)):
        t = t_s - 60 * ago
        scene.see(t, decode(status_line(1, t * 1000, **fields)[:-1]))
    return scene


def drawn(scene, width=80, height=24, draw=screen.draw):
    """The picture as bare lines."""
    return draw(scene, width, height, "keys").plain.split("\n")


@pytest.mark.parametrize(
    ("stage", "milli", "word"),
    [("melt", 39000, "melting"), ("melt", 48000, "warm enough"), ("seed", 38000, "cooling"),
     ("work", 38000, "ABOVE its window"), ("change", 38000, "not judged yet"),
     ("work", 30000, "below its window"), ("melted", 30000, "below its window")],
)
def test_a_step_that_warms_or_cools_it_calls_no_alarm(stage, milli, word):
    """39 °C on its way to a melt is nothing that anybody should mend."""
    scene = scene_at(bowl=milli, stage=stage)
    if stage in ("melt", "melted"):
        scene.window = Window(47.5, 48.0, 50.0, 55.0)
    assert scene_words.place(scene) == word
    assert word in screen.one_line(scene)
    assert word in "\n".join(drawn(scene))


@pytest.mark.parametrize(("milli", "word"), [((30000, 30060), "warming up"), ((30060, 30000), "below its window")])
def test_stock_on_its_way_up_from_the_evening_calls_no_alarm(milli, word):
    """A bowl of 30 °C that is to be held at 40 °C overnight: fine while it rises, and to be mended when it falls."""
    scene = scene_at(bowl=milli[0], stage="melted")
    scene.window = Window(38.0, 40.0, 42.0, 45.0)
    scene.see(780, decode(status_line(1, 780_000, bowl=milli[1], stage="melted")[:-1]))
    assert scene_words.place(scene) == word
    assert "until it is melted" in scene_words.prompt(scene)
    scene.see(781, decode(status_line(1, 781_000, bowl=40000, stage="melted")[:-1]))
    assert scene_words.prompt(scene) == "nothing to do: the stock stays melted"


def test_a_melt_is_stirred_while_the_warmer_asks_nothing():
    """What a cook does in a step that asks nothing yet; while dipping there is nothing."""
    assert "stir every few minutes" in scene_words.prompt(scene_at(stage="melt"))
    assert scene_words.prompt(scene_at(stage="work")) == "nothing to do"


@pytest.mark.parametrize("state", ["hold", "pause"])
@pytest.mark.parametrize("draw", [screen.draw, screen.draw_big])
def test_a_plate_is_never_called_water(draw, state):
    """Rows, curve, pause and the plain line name what the bowl stands on."""
    scene = scene_at(1800, seconds=30, state=state)
    scene.bath = "plate"
    shown = "\n".join(drawn(scene, 110, 45, draw)) + screen.one_line(scene) + scene_words.prompt(scene)
    assert "plate" in shown
    assert "water" not in shown.lower()


@pytest.mark.parametrize("draw", [screen.draw, screen.draw_big])
@given(
    width=st.integers(1, 200),
    height=st.integers(1, 80),
    bowl=st.none() | st.integers(-60_000, 130_000),
    water=st.none() | st.integers(-60_000, 130_000),
    t_s=st.integers(0, 200_000),
    state=st.sampled_from(["idle", "check", "hold", "pause", "off", "trip", "new"]),
    fault=st.integers(0, 16),
    for_s=st.none() | st.floats(60, 172_800),
)
@settings(deadline=None)
def test_the_picture_fits_any_window_for_any_status(draw, width, height, bowl, water, t_s, state, fault, for_s):
    """No line wider, no picture higher than the window it was drawn for; too small a window gets one sentence."""
    scene = scene_at(t_s, for_s=for_s, bowl=bowl, water=water, state=state, fault=fault)
    scene.events.extend((n, "something long happened " * 5) for n in range(30))
    lines = drawn(scene, width, height, draw)
    if lines[0].startswith("This window"):
        assert len(lines) == 1
    else:
        assert len(lines) <= height
        assert max(map(len, lines)) <= width


def test_every_key_and_a_long_question_stand_whole_in_eighty_columns():
    scene = scene_at()
    scene.question = "Which chocolate is the next bowl: 1 milk, 2 white, 3 caramelised white? Any other key: none"
    lines = screen.draw(scene, 80, 24, KEYS).plain.split("\n")
    shown = " ".join(" ".join(lines).split())
    assert " ".join(KEYS.split()) in shown
    assert scene.question in shown
    assert len(lines) == 24


@pytest.mark.parametrize("stage", ["seed", "work"])
def test_advice_that_was_asked_for_is_whole_in_eighty_columns(stage):
    """Its end is what to do; what happened before it gives way."""
    shown = EveningPrompts(load_profile("dark"), load_rig("pot"))
    shown.event("stage", {"stage": stage})
    (advice,) = shown.event("denied" if stage == "seed" else "thicker", {})
    scene = scene_at()
    scene.events.extend((n, f"something that happened before, {n}") for n in range(30))
    scene.events.append((3600, advice))
    lines = screen.draw(scene, 80, 24, KEYS).plain.split("\n")
    assert advice in " ".join(" ".join(lines).split())
    assert "before, 29" in "\n".join(screen.draw(scene, 80, 30, KEYS).plain.split("\n"))
    assert len(lines) <= 24


def test_the_picture_says_virtual_exactly_on_a_virtual_board():
    """In both pictures and in the plain lines."""
    for virtual in (True, False):
        scene = scene_at(virtual=virtual)
        for said in (screen.draw(scene, 80, 24).plain, screen.draw_big(scene, 80, 24).plain, screen.one_line(scene)):
            assert ("VIRTUAL" in said) == virtual


def test_the_picture_shows_what_matters():
    """Chocolate against its window, water against its ceiling, heat in watts, time gone and left."""
    text = "\n".join(drawn(scene_at(3600, bowl=31_620, water=33_180, duty=2345)))
    for part in (
        "31.62 °C",
        "in its window",
        "33.18 °C",
        "1.3 °C under the ceiling",
        "23 %",
        "35 of 150 W",
        "1:00:00 gone",
        "2:40:00 left",
    ):
        assert part in text


def test_colour_is_never_the_only_sign():
    """Below, in, above and not known differ in the bare text."""
    texts = {"\n".join(drawn(scene_at(bowl=bowl))) for bowl in (30_000, 31_500, 33_000, None)}
    assert len(texts) == 4


def test_an_estimated_bowl_is_said_in_every_view():
    """No reading, no pretence."""
    scene = scene_at(est=1)
    for said in (screen.draw(scene, 80, 24).plain, screen.draw_big(scene, 80, 24).plain, screen.one_line(scene)):
        assert "estimated" in said


def test_water_over_its_ceiling_and_a_lost_reading_are_said():
    """In words, not as a number that looks plausible."""
    assert "0.5 °C OVER the ceiling" in screen.draw(scene_at(water=35_000), 80, 24).plain
    assert "no valid reading" in screen.draw(scene_at(water=None), 80, 24).plain


def test_a_small_window_gets_words():
    """And the reason."""
    assert "°C" in drawn(scene_at(), 40, 10)[0]


def test_a_trip_and_a_question_take_the_place_of_the_next_act():
    """One line for the one thing to know."""
    assert "the water probe gives no valid reading" in screen.draw(scene_at(fault=1, state="trip"), 80, 24).plain
    scene = scene_at()
    scene.question = "Leave it running?"
    assert "Leave it running?" in screen.draw(scene, 80, 24).plain


def marks(scene):
    """Where the present value is in the chocolate's band."""
    band = drawn(scene)[3]
    return next((band.index(glyph), glyph) for glyph in "◆◀▶" if glyph in band)


def test_the_mark_moves_with_the_temperature_and_turns_to_an_arrow_at_the_ends():
    """Warmer is further right."""
    places = [marks(scene_at(bowl=bowl))[0] for bowl in range(28_000, 36_000, 500)]
    assert places == sorted(places)
    assert marks(scene_at(bowl=20_000))[1] == "◀"
    assert marks(scene_at(bowl=60_000))[1] == "▶"


# -- the scene -------------------------------------------------------------------------------------------------------


def test_places_by_the_windows_edges():
    """The edges belong to the window."""
    assert [place_of(temp_c, DARK) for temp_c in (30.9, 31.0, 32.0, 32.1)] == [BELOW, IN, IN, ABOVE]


def test_the_ribbon_shows_the_worst_of_each_piece_and_leaves_the_rest_to_come():
    """Ten minutes below, then in, of an hour: in six pieces one below, one in, four to come."""
    scene = Scene("dark", "", DARK, True, 3600.0, 150.0)
    for minute in range(20):
        bowl = 30_000 if minute < 10 else 31_500
        scene.see(minute * 60, decode(status_line(1, minute * 60_000, bowl=bowl)[:-1]))
    assert scene.ribbon(6) == [BELOW, IN, None, None, None, None]
    scene.see(1199, decode(status_line(1, 1_199_000, bowl=33_000)[:-1]))
    assert scene.ribbon(6)[1] == ABOVE


@given(st.integers(1, 200), st.integers(0, 2000), st.none() | st.floats(1, 172_800))
def test_a_ribbon_has_as_many_cells_as_asked(cells, minutes, for_s):
    """Whatever the time."""
    scene = Scene("dark", "", DARK, True, for_s, 150.0, minutes=[UNKNOWN] * minutes)
    assert len(scene.ribbon(cells)) == cells


def test_the_trend_is_shown_once_two_minutes_are_known():
    """0.1 K a minute for ten minutes is 1 K."""
    scene = Scene("dark", "", DARK, True, None, 150.0)
    assert scene.trend_c is None
    for second in range(0, 1201, 15):
        scene.see(second, decode(status_line(1, second * 1000, bowl=30_000 + round(second * 100 / 60))[:-1]))
        words = {0: "", 105: "", 120: "up 0.2 °C in 2 min", 240: "up 0.4 °C in 4 min"}
        assert second not in words or scene_words.trend(scene) == words[second]  # over no longer than is known
    assert scene_words.trend(scene) == "up 1.0 °C in 10 min"
    assert scene.trend_c == pytest.approx(1.0, abs=0.01)


def test_a_board_that_restarted_shows_no_trend_of_before():
    """Its clock stands while it asks, and the chocolate fell while it was off: 'steady for 10 min' would be false."""
    scene = scene_at(900, bowl=31500, stage="work", seconds=12)
    assert scene_words.trend(scene) == "steady for 10 min"
    for _ in range(20):
        scene.see(900, decode(status_line(1, 900_000, bowl=28_000, stage="work", ask="go_on")[:-1]))
    assert scene_words.trend(scene) == ""
    for t_s in range(901, 1081):
        scene.see(t_s, decode(status_line(1, t_s * 1000, bowl=28_000 + t_s - 900, stage="work")[:-1]))
    assert scene_words.trend(scene) == "up 0.2 °C in 3 min"


# -- big digits and plain lines ---------------------------------------------------------------------------------------


def test_every_figure_is_seven_rows_of_one_width_and_no_two_are_alike():
    """Otherwise nobody could tell them apart across the kitchen."""
    for rows in FIGURES.values():
        assert len(rows) == 7
        assert len(set(map(len, rows))) == 1
    assert len(set(FIGURES.values())) == len(FIGURES)


def test_big_figures_fill_an_ordinary_terminal():
    """At 80x24 a figure is at least 14 rows high: on a 30 cm screen 17 cm, which is far beyond what 2 m ask for."""
    rows = big_text("31.6", 76, 17)
    assert len(rows) == 14
    assert max(map(len, rows)) <= 76


def test_big_figures_without_room_are_plain_text():
    """Rather than nothing."""
    assert big_text("31.6", 10, 5) == ["31.6"]


def test_plain_lines_are_one_an_event_and_one_every_ten_minutes():
    """With the progress; an hour of seconds gives seven lines."""
    out = io.StringIO()
    view = PlainLines(out)
    scene = Scene("dark", "", DARK, True, 3600.0, 150.0)
    for second in range(3601):
        scene.see(second, decode(status_line(1, second * 1000)[:-1]))
        view.refresh(scene)
    view.event(75, "refill coming")
    lines = out.getvalue().splitlines()
    assert len(lines) == 8
    assert lines[3] == " 0:30:00  VIRTUAL chocolate 31.50 °C in its window; water 33.00 °C; heat 20 %, 50 % done"
    assert lines[-1] == " 0:01:15  refill coming"


def test_plain_lines_continue_asking_what_nobody_answers():
    """At each line of progress but the first, which comes right after the question; no more once it is answered."""
    out = io.StringIO()
    view = PlainLines(out)
    scene = Scene("dark", "", DARK, True, 3600.0, 150.0)
    for second in range(590, 3601):
        asks = "test" if second < 2000 else ""
        scene.see(second, decode(status_line(1, second * 1000, ask=asks)[:-1]))
        scene.prompt = "dip a cold blade" if asks else ""
        view.refresh(scene)
    still = [line for line in out.getvalue().splitlines() if "still: dip a cold blade" in line]
    assert [line.split()[0] for line in still] == ["0:10:00", "0:20:00", "0:30:00"]


class Closed(io.StringIO):
    """A pipe nobody reads any more."""

    def write(self, text):
        raise BrokenPipeError


def test_a_closed_pipe_does_not_end_the_hold():
    """The lines go nowhere, nothing is raised."""
    view = PlainLines(Closed())
    view.say("a")
    view.event(1, "b")


def test_without_a_terminal_the_view_is_plain():
    """A file is not a terminal."""
    assert isinstance(choose_view(io.StringIO(), full=True, big=False, keys="", keys_alone=""), PlainLines)


@pytest.fixture
def unread():
    """A pipe that nobody reads: its reading end, and a stream into it that fails where it would wait."""
    ours, theirs = os.pipe()
    os.set_blocking(theirs, False)
    with open(theirs, "w") as stream, open(ours, "rb", buffering=0) as reading:
        yield reading, stream


def test_a_reader_that_stops_holds_nothing_up_and_reads_on_later(unread):
    """More lines than the pipe takes; those that find no room are counted."""
    reading, stream = unread
    view = choose_view(stream, full=False, big=False, keys="", keys_alone="")
    with view:
        for number in range(10_000):
            view.say(f"{number:<60}")
        got = b""
        while got.count(b"\n") < 2000:
            got += reading.read(1 << 16)
        view.say("the last")
        while b"the last" not in got:
            got += reading.read(1 << 16)
    *lines, last = got.decode().splitlines()
    assert last == "the last"
    number = notes = 0  # the pipe may be full more than once: the reader and the view run side by side
    for line in lines:
        if line.startswith("("):
            assert line.endswith(" lines are left out: nobody read them)")
            number, notes = number + int(line[1:].split()[0]), notes + 1
        else:
            assert int(line) == number
            number += 1
    assert number == 10_000
    assert notes


def test_a_terminal_that_takes_nothing_misses_drawings_and_no_more(monkeypatch):
    """A row, an alarm or a phone must not wait for a screen."""
    monkeypatch.setattr("bainwright.display.view.REFRESH_S", 0.0)
    monkeypatch.setattr(Unhurried, "FINISH_S", 0.1)
    ours, theirs = os.openpty()
    os.set_blocking(theirs, False)
    monkeypatch.setenv("TERM", "xterm")
    scene = scene_at()
    with open(theirs, "w") as stream, open(ours, "rb", buffering=0) as reading:
        with choose_view(stream, full=True, big=False, keys="", keys_alone="") as view:
            assert isinstance(view, FullScreen)
            for _ in range(50):
                view.refresh(scene)
        assert reading.read(1000)


def test_progress_waits_for_no_terminal_that_takes_nothing(unread):
    """At the end of a hold the log was not sealed until somebody read."""
    reading, stream = unread
    assert takes(stream)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(stream.fileno(), b"x" * 4096)
    assert not takes(stream)
    with Progress("closing", 0, stream, iter(range(1000)).__next__) as progress:
        for _ in range(100):
            progress.tick()
    assert b"closing" not in reading.read(1 << 20)
    assert takes(stream)

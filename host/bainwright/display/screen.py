"""A hold on a terminal: bands for the temperatures, a ribbon for the evening, words beside each.

The colours are our own. Blue, teal, orange and plum differ in lightness too, so that colour-blind people can tell them
apart; and each colour comes with a glyph or a word of the same meaning.
"""

from __future__ import annotations

import textwrap
from operator import itemgetter

from rich.text import Text

from bainwright.core.terminal import visible
from bainwright.core.units import clock_words
from bainwright.display import curve, scene_words
from bainwright.display.digits import big_text
from bainwright.display.scene import ABOVE, BELOW, IN, UNKNOWN, Scene
from bainwright.words import terms

LEAST_WIDTH, LEAST_HEIGHT = 64, 18
WIDEST = 110  # wider bands are harder to read, not easier
ADVICE_LINES = 6
CURVE_FROM_HEIGHT, EVENTS_UNDER_CURVE, MOST_CURVE_ROWS = 32, 5, 16  # lines: the curve takes what events leave
MARGIN, NOW = "  ", "now        "
BIG_NOW = 6  # lines of words under large digits, at most

CHOCOLATE, WATER, HEAT, CEILING = "#c08a5a", "#6db3d1", "#dcae4e", "#c879ab"
PLACE = {BELOW: "#6a9fe0", IN: "#46b89a", ABOVE: "#ee8a45", UNKNOWN: "#8a8a8a"}
BAND, DIM, LOUD = "on #23463e", "#8a8a8a", "bold #1b1b1b on #dcae4e"
# A cell of the ribbon is low, in the middle or high, so that it reads without colour.
BEYOND = "\u2571"  # a hatch: over the ceiling
RIBBON = {BELOW: "▁", IN: "▄", ABOVE: "▀", UNKNOWN: "?"}


class Canvas:
    """Lines of styled text, one under the other."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[Text] = []

    def add(self, *parts: tuple[str, str] | str, right: tuple[str, str] | None = None) -> None:
        """Add a line from pieces; `right` is set at its right end."""
        line = Text(MARGIN, no_wrap=True, overflow="crop")
        for part in parts:
            text, *style = (part,) if isinstance(part, str) else part
            line.append(visible(text), *style)
        line.truncate(self.width - 1)
        if right:
            room = self.width - 2 - line.cell_len - len(right[0])
            if room >= 2:
                line.append(" " * room)
                line.append(*right)
        self.lines.append(line)

    def blank(self, wanted: bool = True) -> None:
        """An empty line, where it is wanted."""
        if wanted:
            self.lines.append(Text(""))

    def text(self) -> Text:
        """All lines as one."""
        return Text("\n").join(self.lines)


def draw_small(scene: Scene, width: int, height: int) -> Text:
    """What fits into a window too small for the picture: the chocolate, what is asked or to be done, the water."""
    canvas = Canvas(max(width, 8))
    place = (scene_words.place(scene), f"bold {PLACE[scene.where]}")
    canvas.add((f"{_degrees(scene.status.bowl if scene.status else None).strip()} ", "bold"), place)
    for line, style in _now_rows(scene, canvas.width - 4)[: max(1, height - 2)]:
        canvas.add((line, style))
    canvas.add(_virtual(scene), f" {scene.bath}{_degrees(scene.status.water if scene.status else None)}")
    canvas.lines = canvas.lines[:height]
    for row in canvas.lines:
        row.truncate(width)
    return canvas.text()


def draw(scene: Scene, width: int, height: int, keys: str = "") -> Text:
    """The whole picture.

    Parameters
    ----------
    scene : Scene
        What to show.
    width, height : int
        The terminal's size in cells.
    keys : str
        The line that names the keys.

    Returns
    -------
    Text
        At most `height` lines of at most `width` cells.
    """
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return draw_small(scene, width, height)
    canvas = Canvas(min(width, WIDEST))
    airy = height >= 22
    _head(canvas, scene)
    canvas.blank(airy)
    _chocolate(canvas, scene)
    _water(canvas, scene)
    _axis(canvas, scene)
    canvas.blank(airy)
    _heat(canvas, scene)
    canvas.blank(airy)
    _evening(canvas, scene)
    if airy and scene.indicators:
        for line in textwrap.wrap(scene.indicators, canvas.width - 4)[:2]:
            canvas.add((line, DIM))
    canvas.blank(airy)
    _now(canvas, scene)
    canvas.blank(airy)
    rows = _key_rows(keys, canvas.width - 4)[: 4 if airy else 1]
    if height >= CURVE_FROM_HEIGHT:
        _last_hour(canvas, scene, height - len(canvas.lines) - len(rows) - EVENTS_UNDER_CURVE)
    _events(canvas, scene, height - len(canvas.lines) - 1 - len(rows))
    while len(canvas.lines) < height - len(rows):
        canvas.blank()
    for row in rows:
        canvas.add((row, DIM))
    return canvas.text()


def _key_rows(keys: str, room: int) -> list[str]:
    """The keys in rows that fit, each key with its words whole."""
    rows = [""]
    for key in keys.split("  "):
        longer = f"{rows[-1]}  {key}" if rows[-1] else key
        if len(longer) <= room or not rows[-1]:
            rows[-1] = longer
        else:
            rows.append(key)
    return rows


def _virtual(scene: Scene) -> tuple[str, str] | str:
    return (" VIRTUAL ", LOUD) if scene.virtual else ""


def _head(canvas: Canvas, scene: Scene) -> None:
    what = f"{' ' if scene.virtual else ''}{scene.chocolate} on {scene.warmer}"
    canvas.add(_virtual(scene), (what, "bold"), right=(scene_words.doing(scene), "bold"))


# -- temperatures ----------------------------------------------------------------------------------------------------


def scale_c(scene: Scene) -> tuple[float, float]:
    """The range of the bands, °C: whole degrees round window and ceiling."""
    return float(int(scene.window.low_c - 3)), float(int(scene.window.ceiling_c + 2))


def _cell(temp_c: float, scene: Scene, cells: int) -> int:
    low_c, high_c = scale_c(scene)
    return min(cells - 1, max(0, round((temp_c - low_c) / (high_c - low_c) * (cells - 1))))


def _degrees(milli: int | None) -> str:
    return "  --.-- °C" if milli is None else f"{milli / 1000:7.2f} °C"


def _chocolate(canvas: Canvas, scene: Scene) -> None:
    status, place = scene.status, scene.where
    temp = _degrees(status.bowl if status else None)
    estimated = " (estimated: no reading)" if status and status.est else ""
    canvas.add(
        ("chocolate", CHOCOLATE),
        (f" {temp}  ", "bold"),
        (scene_words.place(scene), f"bold {PLACE[place]}"),
        estimated,
        right=(scene_words.trend(scene), DIM),
    )
    canvas.add(*_chocolate_band(scene, canvas.width - 4))


def _chocolate_band(scene: Scene, cells: int) -> list[tuple[str, str]]:
    window = scene.window
    low, high = _cell(window.low_c, scene, cells), _cell(window.high_c, scene, cells)
    band = [("▒", f"{PLACE[IN]} {BAND}") if low <= cell <= high else ("─", DIM) for cell in range(cells)]
    if scene.recent_range_c:
        start, end = (_cell(temp_c, scene, cells) for temp_c in scene.recent_range_c)
        for cell in range(start, end + 1):
            band[cell] = ("━", f"{CHOCOLATE} {BAND if low <= cell <= high else ''}")
    band[_cell(window.ceiling_c, scene, cells)] = ("┃", CEILING)
    if scene.status and scene.status.bowl is not None:
        _mark(band, scene.status.bowl / 1000, scene, f"bold {PLACE[scene.where]}")
    return band


def _mark(band: list[tuple[str, str]], temp_c: float, scene: Scene, style: str) -> None:
    """Mark the present value; an arrow at the end of the band where it is beyond it."""
    low_c, high_c = scale_c(scene)
    glyph = "◀" if temp_c < low_c else "▶" if temp_c > high_c else "◆"
    cell = _cell(temp_c, scene, len(band))
    background = band[cell][1].rpartition("on ")
    band[cell] = (glyph, f"{style} {background[1]}{background[2]}" if background[1] else style)


def _water(canvas: Canvas, scene: Scene) -> None:
    status = scene.status
    water = status.water if status else None
    canvas.add(
        (f"{scene.bath:<9}", WATER), (f" {_degrees(water)}  ", "bold"), _ceiling_words(scene),
        right=(_aim_words(scene), DIM),
    )
    cells = canvas.width - 4
    ceiling = _cell(scene.window.ceiling_c, scene, cells)
    band = [(BEYOND if cell > ceiling else "─", DIM) for cell in range(cells)]
    band[ceiling] = ("┃", CEILING)
    if status and status.water_target is not None:
        band[_cell(status.water_target / 1000, scene, cells)] = ("┆", WATER)
    if water is not None:
        _mark(band, water / 1000, scene, f"bold {WATER}")
    canvas.add(*band)


def _ceiling_words(scene: Scene) -> tuple[str, str]:
    words, wrong = scene_words.water_gap(scene)
    return words, f"bold {PLACE[ABOVE]}" if wrong else DIM if scene.bowl_away else "default"


def _aim_words(scene: Scene) -> str:
    if scene.status is None or scene.status.water_target is None or scene.status.state != "hold":
        return ""
    return f"heading for {scene.status.water_target / 1000:.1f} °C"


def _axis(canvas: Canvas, scene: Scene) -> None:
    """Whole degrees under the bands, and the ceiling's label."""
    cells = canvas.width - 4
    row = [" "] * cells
    low_c, high_c = scale_c(scene)
    ceiling = f"{scene.window.ceiling_c:g} ceiling"
    start = min(_cell(scene.window.ceiling_c, scene, cells), cells - len(ceiling))
    for degree in range(int(low_c), int(high_c) + 1):
        cell, label = _cell(degree, scene, cells), str(degree)
        if cell + len(label) < start - 1:
            row[cell : cell + len(label)] = label
    canvas.add(("".join(row[:start]), DIM), (ceiling, CEILING))


# -- heat, evening, events -------------------------------------------------------------------------------------------


def _heat(canvas: Canvas, scene: Scene) -> None:
    duty = scene.status.duty / 10000 if scene.status else 0.0
    cells = 25
    full = round(duty * cells)
    canvas.add(
        ("heat     ", HEAT),
        (f" {100 * duty:7.0f} %   ", "bold"),
        ("▰" * full, HEAT),
        ("▱" * (cells - full), DIM),
        f"  {duty * scene.heater_w:.0f} of {scene.heater_w:.0f} W",
    )


def _evening(canvas: Canvas, scene: Scene) -> None:
    cells = canvas.width - 4
    canvas.add(*[("·", DIM) if place is None else (RIBBON[place], PLACE[place]) for place in scene.ribbon(cells)])
    gone, left = scene_words.times(scene)
    canvas.add((gone, "bold"), f", {left}", right=("▁ below  ▄ in  ▀ above", DIM))


def _now_rows(scene: Scene, room: int) -> list[tuple[str, str]]:
    """What the person should know now, with its style: a question, and a trip, a trouble, or what to do next."""
    rows = [(f" {line} ", LOUD) for line in textwrap.wrap(scene.question, room - 2)[:3]]
    if scene.status and scene.status.fault:
        fault = textwrap.wrap(terms.fault(scene.status.fault, scene.bath), room - 2)
        advice = textwrap.wrap(" ".join(scene.advice[1:]), room)[:ADVICE_LINES]
        return [*rows, *[(f" {line} ", LOUD) for line in fault], *[(line, "default") for line in advice]]
    if scene.trouble:
        return [*rows, *[(f" {line} ", LOUD) for line in textwrap.wrap(scene.trouble, room - 2)]]
    return [*rows, *[(line, "default") for line in textwrap.wrap(scene_words.prompt(scene), room)]]


def _now(canvas: Canvas, scene: Scene) -> None:
    """The rows of what the person should know now; what to do next has its label."""
    for at, (line, style) in enumerate(rows := _now_rows(scene, canvas.width - 15)):
        label = "" if style == LOUD else NOW if at == 0 or rows[at - 1][1] == LOUD else " " * len(NOW)
        canvas.add((label, DIM), (line, style))


def _last_hour(canvas: Canvas, scene: Scene, rows: int) -> None:
    """Chocolate and water over the last hour."""
    rows = min(rows, MOST_CURVE_ROWS)
    if rows < 6 or not scene.curve:
        return
    canvas.add(("last hour", DIM), ("   ● chocolate", CHOCOLATE), (f"   ∙ {scene.bath}", WATER),
               ("   ▒ window", PLACE[IN]), ("   ╌ ceiling", CEILING), right=("now ", DIM))
    styles = {curve.CHOCOLATE: CHOCOLATE, curve.WATER: WATER, curve.CEILING: CEILING, curve.WINDOW: DIM}
    for label, glyphs in curve.curve_rows(scene, canvas.width - 4, rows - 2):
        canvas.add((label, DIM), *[(glyph, styles.get(glyph, "default")) for glyph in glyphs])
    canvas.blank()


def _events(canvas: Canvas, scene: Scene, room: int) -> None:
    """The last events, each whole: advice takes several lines, and its end says what to do."""
    rows: list[tuple[str, str]] = []
    course = sorted([*scene.events, *scene.for_terminal], key=itemgetter(0))
    for t_s, text in reversed(course):
        lines = textwrap.wrap(text, canvas.width - 14) or [""]
        if rows and len(rows) + len(lines) > room:
            break
        rows[:0] = zip([f"{clock_words(t_s):>8}", *[" " * 8] * len(lines)], lines, strict=False)
    for when, line in rows[: max(0, room)]:
        canvas.add((when, DIM), f"  {line}")


# -- the other pictures ----------------------------------------------------------------------------------------------


def draw_big(scene: Scene, width: int, height: int, keys: str = "") -> Text:
    """The chocolate's temperature as large as the window allows, with its place in words under it."""
    if width < 30 or height < 12:
        return draw_small(scene, width, height)
    canvas = Canvas(width)
    milli = scene.status.bowl if scene.status else None
    label = "--.-" if milli is None else f"{milli / 1000:.1f}"
    canvas.add(_virtual(scene), f" {scene.chocolate}", right=(", ".join(scene_words.times(scene)), "bold"))
    canvas.blank()
    place = scene.where
    rows = _key_rows(keys, width - 4)[:2]
    now = _now_rows(scene, width - 15)[:BIG_NOW]
    for row in big_text(label, width - 4, height - 4 - len(now) - len(rows)):
        canvas.add((row, PLACE[place]))
    while len(canvas.lines) < height - 2 - len(now) - len(rows):
        canvas.blank()
    canvas.add(
        (
            f"{scene_words.place(scene)} ({scene.window.low_c:g} to {scene.window.high_c:g} °C){_estimated(scene)}",
            f"bold {PLACE[place]}",
        )
    )
    canvas.add(f"{scene.bath}{_degrees(scene.status.water if scene.status else None)}, ", _ceiling_words(scene))
    _now(canvas, scene)
    while len(canvas.lines) < height - len(rows):
        canvas.blank()
    canvas.lines = canvas.lines[: height - len(rows)]
    for row in rows:
        canvas.add((row, DIM))
    return canvas.text()


def _estimated(scene: Scene) -> str:
    return ", estimated" if scene.status and scene.status.est else ""


def one_line(scene: Scene) -> str:
    """The scene in one plain line."""
    status = scene.status
    if status is None:
        return "waiting for the board"
    chocolate = f"chocolate {_degrees(status.bowl).strip()} {scene_words.place(scene)}{_estimated(scene)}"
    gone = f", {100 * scene.progress:.0f} % done" if scene.progress is not None else ""
    virtual = "VIRTUAL " if scene.virtual else ""
    return f"{virtual}{chocolate}; {scene.bath} {_degrees(status.water).strip()}; heat {status.duty / 100:.0f} %{gone}"

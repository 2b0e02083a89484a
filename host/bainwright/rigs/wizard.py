"""A rig file from a short talk: every answer may be given as an option, and one that was given is kept at once."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bainboard import help_text
from bainboard import pins as pin_maps
from bainboard import settings as board
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import BainError, FileError, UseError
from bainwright.files import pinout
from bainwright.files.rig import Rig, load_rig
from bainwright.rigs import rigfile
from bainwright.rigs.bus import Bus, OnBus

Ask = Callable[[str, str | None], str]  # a question and what is taken when nothing is typed
Warmed = Callable[[str], str | None]  # the place whose probe is to be warmed; the id of the one that was

ROWS = {str(row[board.NAME]): row for row in board.SETTINGS}
QUESTIONS = {
    "name": "What is this warmer called?",
    "board": "Which board? (pico, pico2, esp32)",
    "heater_w": "The heater's power, W?",
    "switch": "How is it switched? (zero_cross: solid state relay on the mains; dc: MOSFET)",
    "water_l": "How much water is in the bath, L?",
    "bowl_kg": "What does the empty bowl weigh, kg?",
    "chocolate_kg": "How much chocolate is in the full bowl, kg?",
    "hard_limit_c": "The heat goes off for good when the water is above, °C?",
    "guard": "Is there a guard relay in series with the switch? (yes, no)",
    "panel": "Are buttons, lamps and buzzer fitted? (yes, no)",
    "display": "Is a display of 128 x 64 fitted? (yes, no)",
    "probe.water.kind": "Which probe is in the water? (onewire, ntc, platinum)",
    "probe.bowl.kind": "Which probe is in the chocolate? (none, onewire, ntc, platinum)",
}
MEASURED = ("heater_w", "switch", "water_l", "bowl_kg", "chocolate_kg")  # nobody can guess them
PLACES = {"water": "water", "bowl": "chocolate"}
YES, NO = ("yes", "y", "true"), ("no", "n", "false")
TRIES = 3  # at one question or one warming


@dataclass
class Talk:
    """What has been answered, and who can be asked.

    Attributes
    ----------
    given : dict
        Settings by name: from options, then each answer as it comes.
    ask : callable or None
        Asks the person; None where nobody sits at a terminal.
    tell : callable
        Says something on the way.
    defaults : bool
        Take the usual value for whatever was not given, and ask nothing.
    kept : Path or None
        Where the person's own answers are kept until the rig file is written; options are typed again.
    """

    given: dict[str, Any]
    ask: Ask | None
    tell: Callable[[str], None]
    defaults: bool = False
    kept: Path | None = None
    answers: dict[str, Any] = field(default_factory=dict)

    def begin(self) -> None:
        """Take up what an earlier talk that broke off had been told; what was given now wins."""
        if self.kept is None or not self.kept.is_file():
            return
        try:
            before = json.loads(self.kept.read_text(encoding="utf-8"))
            known = {name: value for name, value in before.items() if name in ROWS}
        except (ValueError, AttributeError, OSError):
            self.tell(f"{self.kept} is damaged; all questions are asked anew")
            return
        for name, value in known.items():
            if name not in self.given and _fault(name, value) is None:
                self.given[name] = self.answers[name] = value
        answers = "1 answer" if len(self.answers) == 1 else f"{len(self.answers)} answers"
        self.tell(f"going on with {answers} of the talk that broke off ({self.kept})")

    def keep(self, name: str, value: Any) -> None:
        """An answer: it is safe from now on."""
        self.given[name] = self.answers[name] = value
        if self.kept is not None:
            save_file(self.kept, json.dumps(self.answers, indent=1))

    def settle(self, name: str, usual: Any) -> None:
        """Have an answer to a question, asked for if it must be."""
        if name in self.given:
            return
        if self.defaults or (self.ask is None and name not in MEASURED):
            self.given[name] = usual
            return
        if self.ask is None:
            raise UseError(f"{option(name)} is missing", wanted=help_text.SETTINGS[name][0],
                           hint="or --defaults takes what is usual")  # fmt: skip
        for _ in range(TRIES):
            try:
                self.keep(name, value_of(name, self.ask(QUESTIONS[name], None if name in MEASURED else _typed(usual))))
                return
            except UseError as wrong:
                self.tell(str(wrong))
        raise UseError(f"{name} stays open", hint="the same command asks again")


def option(name: str) -> str:
    """The option that answers a question: ``--water-l``, ``--bowl-probe``, ``--bowl-id``."""
    if name.startswith("probe."):
        _, place, what = name.split(".")
        return f"--{place}-{'probe' if what == 'kind' else 'id'}"
    return "--" + name.replace("_", "-")


def value_of(name: str, text: str) -> Any:
    """What was typed as the setting it is.

    Raises
    ------
    UseError
        If it cannot be.
    """
    row, text = ROWS[name], text.strip()
    value: Any = text
    if row[board.KIND] == board.FLAG:
        value = True if text.lower() in YES else False if text.lower() in NO else text
    elif row[board.KIND] in (board.FLOAT, board.INT):
        try:
            value = float(_without_unit(text, str(row[board.UNIT])).replace(",", "."))
        except ValueError:
            value = text
    elif row[board.KIND] == board.CHOICE:
        value = text.lower()
    why = _fault(name, value)
    if why:
        raise UseError(why.replace("wanted true or false", "wanted yes or no"))
    return value


def _without_unit(text: str, unit: str) -> str:
    """The number before its unit, however a person writes that: 2 l, 60C."""
    for written in (unit, unit.removeprefix("°")):
        if written and text.lower().endswith(written.lower()):
            return text[: -len(written)]
    return text


def make(talk: Talk, bus: Bus | None, warmed: Warmed | None, out: Path) -> Rig:
    """Go through the questions and write the rig file.

    Parameters
    ----------
    talk : Talk
        Who is asked, and what is known.
    bus : Bus or None
        The board that is plugged in.
    warmed : callable or None
        Waits until a probe is warmed in the hand.
    out : Path
        The rig file to write.

    Returns
    -------
    Rig
        The rig, read back from its file.

    Raises
    ------
    BainError
        If it cannot be; the answers are kept.
    """
    usual = board.defaults(board.SETTINGS)
    there = bus.probes if bus else []
    talk.settle("name", out.stem.replace("_", " "))
    if bus and talk.given.get("board", bus.kind) != bus.kind:
        raise UseError(f"--board {talk.given['board']}", got=f"a {bus.kind} that is plugged in",
                       hint="leave --board out, or give --no-board to write a rig for another one")  # fmt: skip
    talk.settle("board", bus.kind if bus else pin_maps.KINDS[0])
    for name in (*MEASURED, "hard_limit_c"):
        talk.settle(name, usual[name])
    talk.settle("probe.water.kind", "onewire")
    second = talk.given["probe.water.kind"] == "onewire" and len(there) > 1
    talk.settle("probe.bowl.kind", "onewire" if second else "none")
    name_probes(talk, there, warmed)
    talk.settle("guard", True)
    talk.settle("panel", False)
    if talk.given["panel"]:
        talk.settle("display", False)
    _settle_pins(talk)
    return _write(talk, out)


def name_probes(talk: Talk, there: list[OnBus], warmed: Warmed | None) -> None:
    """Find which of the digital probes is which: given, the only one left, or the one that is being warmed."""
    places = [place for place in PLACES if talk.given[f"probe.{place}.kind"] == "onewire"]
    left = [probe.rom for probe in there]
    for place in places:
        rom = str(talk.given.get(f"probe.{place}.rom", "")).lower()
        if there and rom and rom not in left:
            raise UseError(f"{option(f'probe.{place}.rom')} {rom} is not on the bus, or named twice",
                           wanted="one of " + (", ".join(left) or "none that is left"))  # fmt: skip
        left = [each for each in left if each != rom]
    open_places = [place for place in places if not talk.given.get(f"probe.{place}.rom")]
    if len(left) < len(open_places):
        if there:
            talk.tell(f"on the bus: {len(left)} probes without a place, wanted {len(open_places)}: look at the plugs")
        for place in open_places:
            talk.tell(f"the {PLACES[place]} probe has no id yet: write it into the file once the probe is plugged in")
        return
    for place in open_places:
        if len(left) == 1:
            talk.tell(f"the {PLACES[place]} probe is {left[0]}")
            talk.given[f"probe.{place}.rom"] = left.pop()
        else:
            rom = _warm(talk, place, left, warmed)
            left.remove(rom)
            talk.keep(f"probe.{place}.rom", rom)


def _warm(talk: Talk, place: str, left: list[str], warmed: Warmed | None) -> str:
    for _ in range(TRIES if warmed else 0):
        assert warmed is not None
        talk.tell(f"Take the {PLACES[place]} probe in your hand and hold it tight.")
        rom = warmed(place)
        if rom in left:
            talk.tell(f"that is {rom}: the {PLACES[place]} probe")
            return str(rom)
        talk.tell("no probe warmed plainly" if rom is None else f"{rom} is named already")
        if talk.ask is None:
            break
    raise UseError(f"which probe is in the {PLACES[place]} is not known", got=", ".join(left),
                   hint=f"name it with {option(f'probe.{place}.rom')}")  # fmt: skip


def _settle_pins(talk: Talk) -> None:
    """Where things are wired: as the board's map has it, unless told otherwise."""
    values = _values(talk.given)
    if "pins" in talk.given or talk.ask is None or talk.defaults:
        return
    talk.tell("\n".join(["", f"Pins on a {pinout.BOARDS[values['board']]}:", *pin_lines(values)]))
    moved: dict[str, int] = {}
    while True:
        text = talk.ask("Wired so? Return for yes, else NAME=GPIO of one that is not", "")
        if not text.strip():
            break
        try:
            wanted = {**moved, **moved_pins([text])}
            _values({**talk.given, "pins": _pins_text(wanted)})
            moved = wanted
        except BainError as wrong:
            talk.tell(str(wrong))
    talk.keep("pins", _pins_text(moved))


def moved_pins(texts: list[str]) -> dict[str, int]:
    """``NAME=GPIO`` as typed.

    Raises
    ------
    UseError
        If it is something else.
    """
    moved = {}
    for text in texts:
        name, _, gpio = text.replace(" ", "").partition("=")
        if not (name and gpio.isascii() and gpio.isdigit()):
            raise UseError("--pin", got=text, wanted="NAME=GPIO, for instance yes=9")
        moved[name] = int(gpio)
    return moved


def pin_lines(values: Mapping[str, Any]) -> list[str]:
    """The pins of what is fitted, for a person."""
    return [f"  {name:<12} GPIO {gpio}" for name, gpio in pinout.map_of(values).items()]


def _pins_text(moved: Mapping[str, int]) -> str:
    return " ".join(f"{name}={gpio}" for name, gpio in moved.items())


def _values(given: Mapping[str, Any]) -> dict[str, Any]:
    """Given settings over the defaults, checked as a whole."""
    rig = Rig(str(given.get("name", "")), {}, source="as answered").with_settings(given)
    return dict(rig.settings)


def _write(talk: Talk, out: Path) -> Rig:
    given = {name: value for name, value in talk.given.items() if value != "" or ROWS[name][board.UNIT] == board.HEX}
    save_file(out, rigfile.rig_text(_values(given), given))
    try:
        rig = load_rig(out)
    except FileError:
        out.unlink()
        raise
    if talk.kept is not None:
        talk.kept.unlink(missing_ok=True)
    return rig


def _typed(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _fault(name: str, value: Any) -> str | None:
    why: str | None = board.check(board.SETTINGS, {name: value})[1]
    return why

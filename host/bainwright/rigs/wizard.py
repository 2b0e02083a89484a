"""A rig file from questions: every answer may be given as an option, and each one that is typed is stored at once."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bainboard import settings as board
from bainwright.builds.catalogue import BY_NAME
from bainwright.builds.parts import WATTS_WITHIN
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import BACK, BainError, FileError, OneBackError, UseError
from bainwright.core.read_file import read_json
from bainwright.files import pinout
from bainwright.files.rig import Rig, load_rig
from bainwright.rigs import rigfile
from bainwright.rigs.bus import Bus, OnBus
from bainwright.rigs.questions import (
    BUILD,
    OWN,
    PLANT,
    QUESTIONS,
    ROWS,
    Question,
    as_typed,
    fixed_by_build,
    option,
    value_of,
    wanted,
    wrong_with,
)

Ask = Callable[[str, str | None], str]  # a question and what is taken when nothing is typed
Warmed = Callable[[str], str | None]  # the place whose probe is to be warmed; the id of the one that was

PLACES = {"water": "water", "bowl": "chocolate", "water2": "second water"}
ON_A_PLATE = {**PLACES, "water": "plate", "water2": "second plate"}
TRIES = 3  # at one question or one warming


@dataclass(frozen=True)
class _Known:
    """What a wizard knew before a question."""

    given: dict[str, Any]
    answers: dict[str, Any]
    built: set[str]


@dataclass
class Wizard:
    """What is known of the warmer, and who can be asked for the rest.

    Attributes
    ----------
    given : dict
        Settings by name: from options, then each answer as it comes.
    ask : callable or None
        Asks the person; None where nobody sits at a terminal.
    report : callable
        Shows the person a line.
    defaults : bool
        Take the default for whatever was not given, and ask nothing.
    answers_file : Path or None
        Where the person's own answers are stored until the rig file is written; options are typed again.
    answers : dict
        Those answers.
    built : set of str
        What was taken from a guide in place of an answer.
    """

    given: dict[str, Any]
    ask: Ask | None
    report: Callable[[str], None]
    defaults: bool = False
    answers_file: Path | None = None
    answers: dict[str, Any] = field(default_factory=dict)
    built: set[str] = field(default_factory=set)

    def resume(self) -> None:
        """Take up the answers of a run that was interrupted; what was given now wins."""
        if self.answers_file is None or not self.answers_file.is_file():
            return
        try:
            before = read_json(self.answers_file)
            known = {name: value for name, value in before.items() if _is_known(name)}
        except (FileError, AttributeError):
            self.report(f"{self.answers_file} is damaged, so every question is asked again")
            return
        for name, value in known.items():
            if name not in self.given and wrong_with(name, value) is None:
                self.given[name] = self.answers[name] = value
        answers = "1 answer" if len(self.answers) == 1 else f"{len(self.answers)} answers"
        self.report(f"resuming with {answers} from last time ({self.answers_file})")

    def store(self, name: str, value: Any) -> None:
        """Take an answer and store it at once."""
        self.given[name] = self.answers[name] = value
        if self.answers_file is not None:
            save_file(self.answers_file, json.dumps(self.answers, indent=1))

    def take_build(self, build: str) -> None:
        """Take what a guide says for whatever was not given.

        Raises
        ------
        UseError
            If what was given makes it another warmer than the guide's.
        """
        figures = fixed_by_build(build)
        for name, its in ((PLANT + "bath", figures.get(PLANT + "bath", "water")), ("switch", figures.get("switch"))):
            if figures and self.given.get(name, its) != its:
                raise UseError(f"{option(name)} {self.given[name]} does not go with --build {build}", wanted=str(its),
                               hint="leave one of them out")  # fmt: skip
        self.built = set(figures) - set(self.given)
        self.given = {**figures, **self.given}

    def settle(self, question: Question, known: Mapping[str, Any]) -> bool:
        """Get the answer to a question: as given, by default, or from the person. Was it a person's?"""
        name = question.name
        if not question.when(known):
            if self.given.get(name) and name not in self.built:
                raise UseError(f"{option(name)} {as_typed(self.given[name])} needs {question.needs}",
                               hint="leave it out, or correct the other answers")  # fmt: skip
            return False
        if name in self.given:
            return name in self.answers
        default = None if question.default is None else question.default(known)
        if self.defaults or (self.ask is None and (default is not None or question.optional)):
            if not question.optional:
                self.given[name] = board.defaults(board.SETTINGS)[name] if default is None else default
            if question.measured or (question.default is None and not question.optional):
                whose = "only a default" if known.get(BUILD, OWN) == OWN else "the guide's"
                self.report(f"{name} = {as_typed(self.given[name])} is {whose}: measure yours, and correct it")
            return False
        if self.ask is None:
            raise UseError(f"{option(name)} is missing", wanted=wanted(name), hint="or add --defaults")
        shown = "" if question.optional else None if default is None else as_typed(default)
        self._ask(question, question.asked(known), shown)
        return True

    def _ask(self, question: Question, words: str, default: str | None) -> None:
        assert self.ask is not None
        for _ in range(TRIES):
            text = self.ask(words, default)
            if text.strip().lower() == BACK:
                raise OneBackError
            if question.optional and not text.strip():
                return
            try:
                self.store(question.name, value_of(question.name, text))
                return
            except UseError as wrong:
                self.report(str(wrong).removeprefix(f"{option(question.name)}: "))  # the question stands above it
        raise UseError(f"no usable answer to: {words}", hint="run the same command again to resume")

    def ask_all(self, found: Mapping[str, Any]) -> None:
        """Settle each question in turn; `back` as an answer asks the one before again.

        Parameters
        ----------
        found : mapping
            What is known without asking.
        """
        behind: list[tuple[int, _Known]] = []  # each question that a person answered, and what was known before it
        at = 0
        while at < len(QUESTIONS):
            question = QUESTIONS[at]
            before = self._known_without(question.name)
            try:
                answered = self.settle(question, {**found, **self.given})
            except OneBackError:
                if behind:
                    at, before = behind.pop()
                    self._forget(before)
                else:
                    self.report("this is the first question")
                continue
            if answered:
                behind.append((at, before))
            if question.name == BUILD:
                self.take_build(self.given[BUILD])
            at += 1

    def _known_without(self, name: str) -> _Known:
        """What is known now, but for an answer of last time to this question."""
        given = {each: value for each, value in self.given.items() if not (each == name and name in self.answers)}
        answers = {each: value for each, value in self.answers.items() if each != name}
        return _Known(given, answers, set(self.built))

    def _forget(self, before: _Known) -> None:
        """Go back to what was known before."""
        self.given, self.answers, self.built = dict(before.given), dict(before.answers), set(before.built)
        if self.answers_file is not None:
            save_file(self.answers_file, json.dumps(self.answers, indent=1))


def make(wizard: Wizard, bus: Bus | None, warmed: Warmed | None, out: Path) -> Rig:
    """Go through the questions and write the rig file.

    Parameters
    ----------
    wizard : Wizard
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
        If it cannot be made; the answers stay stored.
    """
    there = bus.probes if bus else []
    if wizard.ask is not None and not wizard.defaults:
        wizard.report(f"{BACK} as an answer: the question before it again")
    found: dict[str, Any] = {"file name": out.stem.replace("_", " "), "found": len(there)}
    if bus:
        found["board found"] = bus.kind
        if wizard.given.get("board", bus.kind) != bus.kind:
            raise UseError(f"--board {wizard.given['board']}", got=f"a {bus.kind} that is plugged in",
                           hint="leave --board out, or give --no-board to write a rig for another one")  # fmt: skip
    wizard.ask_all(found)
    name_probes(wizard, there, warmed)
    _settle_pins(wizard)
    if other := other_watts(wizard.given):
        wizard.report(other)
    return _write(wizard, out)


def other_watts(given: Mapping[str, Any]) -> str:
    """What to say of a build of the guides with another heater than the guide's; empty where it is the guide's."""
    build, heater_w = BY_NAME.get(given.get(BUILD, OWN)), given["heater_w"]
    if build is None or abs(heater_w / build.heater_w - 1.0) <= WATTS_WITHIN:
        return ""
    return (f"{heater_w:g} W is not the guide's {build.heater_w:g} W: the guide's supply, fuses, wire, plugs and "
            "cut-outs do not fit it. bain plan --size-heater says what does, and which watts a 24 V build can have")


def name_probes(wizard: Wizard, there: list[OnBus], warmed: Warmed | None) -> None:
    """Find which of the digital probes is which: given, the only one left, or the one that is being warmed."""
    places = [place for place in PLACES if wizard.given.get(f"probe.{place}.kind") == "onewire"]
    named = ON_A_PLATE if wizard.given.get(PLANT + "bath") == "plate" else PLACES
    left = [probe.rom for probe in there]
    for place in places:
        rom = str(wizard.given.get(f"probe.{place}.rom", "")).lower()
        if there and rom and rom not in left:
            raise UseError(f"{option(f'probe.{place}.rom')} {rom} is not on the bus, or named twice",
                           wanted="one of " + (", ".join(left) or "none that is left"))  # fmt: skip
        left = [each for each in left if each != rom]
    open_places = [place for place in places if not wizard.given.get(f"probe.{place}.rom")]
    if len(left) < len(open_places):
        if there:
            wizard.report(f"on the bus: {len(left)} probes without a place, wanted {len(open_places)}: check the plugs")
        for place in open_places:
            wizard.report(f"the {named[place]} probe has no id yet: write it into the file once it is plugged in")
        return
    for place in open_places:
        if len(left) == 1:
            wizard.report(f"the {named[place]} probe is {left[0]}")
            wizard.given[f"probe.{place}.rom"] = left.pop()
        else:
            rom = _warm(wizard, place, named[place], left, warmed)
            left.remove(rom)
            wizard.store(f"probe.{place}.rom", rom)


def _warm(wizard: Wizard, place: str, named: str, left: list[str], warmed: Warmed | None) -> str:
    for _ in range(TRIES if warmed else 0):
        assert warmed is not None
        wizard.report(f"Take the {named} probe in your hand and hold it tight.")
        rom = warmed(place)
        if rom in left:
            wizard.report(f"that is {rom}: the {named} probe")
            return str(rom)
        wizard.report("no probe became clearly warmer" if rom is None else f"{rom} already has a place")
        if wizard.ask is None:
            break
    raise UseError(f"it is not known which probe is the {named} probe", got=", ".join(left),
                   hint=f"name it with {option(f'probe.{place}.rom')}")  # fmt: skip


def _settle_pins(wizard: Wizard) -> None:
    """Where things are wired: by the board's map, unless the person says otherwise."""
    values = _values(wizard.given)
    if "pins" in wizard.given or wizard.ask is None or wizard.defaults:
        return
    wizard.report("\n".join(["", f"Pins on a {pinout.BOARDS[values['board']]}:", *pin_lines(values)]))
    moved: dict[str, int] = {}
    while True:
        text = wizard.ask("Wired like this? Return for yes, else NAME=GPIO of one that is not", "")
        if not text.strip():
            break
        try:
            now = {**moved, **moved_pins([text])}
            _values({**wizard.given, "pins": _pins_text(now)})
            moved = now
        except BainError as wrong:
            wizard.report(str(wrong))
    wizard.store("pins", _pins_text(moved))


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
        if not (name and gpio.isascii() and gpio.isdigit() and len(gpio) < 4):
            raise UseError("--pin", got=text, wanted="NAME=GPIO, for instance yes=9")
        moved[name] = int(gpio)
    return moved


def pin_lines(values: Mapping[str, Any]) -> list[str]:
    """The pins of what is fitted, for a person."""
    return [f"  {name:<12} GPIO {gpio}" for name, gpio in pinout.map_of(values).items()]


def _pins_text(moved: Mapping[str, int]) -> str:
    return " ".join(f"{name}={gpio}" for name, gpio in moved.items())


def _is_known(name: str) -> bool:
    """Is it the name of a question?"""
    return name in ROWS or name == BUILD or name.startswith(PLANT)


def _settings(given: Mapping[str, Any]) -> dict[str, Any]:
    """The answers that are settings of the board."""
    return {name: value for name, value in given.items() if name != BUILD and not name.startswith(PLANT)}


def _values(given: Mapping[str, Any]) -> dict[str, Any]:
    """Given settings over the defaults, checked as a whole."""
    rig = Rig(str(given.get("name", "")), {}).with_settings(_settings(given), "the answers")
    return dict(rig.settings)


def _write(wizard: Wizard, out: Path) -> Rig:
    given = {name: value for name, value in _settings(wizard.given).items()
             if value != "" or ROWS[name][board.UNIT] == board.HEX}  # fmt: skip
    plant = {name.removeprefix(PLANT): value for name, value in wizard.given.items() if name.startswith(PLANT)}
    save_file(out, rigfile.rig_text(_values(given), given, plant))
    try:
        rig = load_rig(out)
    except FileError:
        out.unlink()
        raise
    if wizard.answers_file is not None:
        wizard.answers_file.unlink(missing_ok=True)
    return rig

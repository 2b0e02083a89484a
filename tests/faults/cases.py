"""A case is one line: its seed and its name, ``17 pot/warm_up/water_open+flood``. It replays to the same trace."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainwright.core.errors import FileError, UseError
from bainwright.core.toml import close_match
from bainwright.files.documents import document
from bainwright.virtual.scenario import Scenario, StartTable

from . import evenings
from .fast import Play
from .phases import PHASES, Setting, set_up
from .rigs import warmer
from .strikes import BY_NAME, Strike
from .world import Mishap

SEED_MOST = 2**31 - 1
HOSTS = ("reads", "absent")


@dataclass(frozen=True)
class Case:
    """What a line says.

    Attributes
    ----------
    seed : int
        Settles noise, temperatures, room, fill and moments.
    rig, phase : str
        The warmer, and when it strikes.
    acts : tuple of str
        Names of strikes or everyday acts; ``name@number`` where one takes a number.
    """

    seed: int
    rig: str
    phase: str
    acts: tuple[str, ...]

    @property
    def name(self) -> str:
        """Without the seed."""
        return f"{self.rig}/{self.phase}/{'+'.join(self.acts) or 'none'}"

    def __str__(self) -> str:
        return f"{self.seed} {self.name}"


def parse(line: str) -> Case:
    """Read a case's line.

    Raises
    ------
    UseError
        When it is not one, in words.
    """
    words = line.split()
    if len(words) != 2 or words[1].count("/") != 2:
        raise UseError("not a case", got=line.strip()[:80], wanted="SEED RIG/PHASE/WHAT, as in 17 pot/quiet/water_open")
    rig, phase, what = words[1].split("/")
    acts = () if what == "none" else tuple(what.split("+"))
    known = {*PHASES, *evenings.EVENINGS}
    if phase not in known:
        raise UseError("no such phase", got=phase, wanted=", ".join(sorted(known)), hint=close_match(phase, known))
    for act in acts:
        _check_act(act)
    warmer(rig)
    return Case(seed_of(words[0]), rig, phase, acts)


def seed_of(text: str) -> int:
    """A seed.

    Raises
    ------
    UseError
        When it is none.
    """
    if not text.isdecimal() or int(text) > SEED_MOST:
        raise UseError("not a seed", got=text[:40], wanted=f"a whole number from 0 to {SEED_MOST}")
    return int(text)


def _check_act(act: str) -> None:
    name, at, number = act.partition("@")
    names = {*BY_NAME, *evenings.EVERYDAY, *TAKING}
    if name not in names:
        raise UseError("nothing of that name happens here", got=name[:40], hint=close_match(name, names))
    if bool(at) != (name in TAKING) or (at and not number.lstrip("-").isdecimal()):
        raise UseError(f"{name}: a number after @ belongs to {', '.join(TAKING)} only", got=act[:60])


def load(path: Path) -> list[Case]:
    """A file of cases: one a line, # begins a remark.

    Raises
    ------
    FileError, UseError
        When it cannot be read or a line is no case; it says which line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{path}: no file of cases", got=str(error), wanted="text, a case a line") from error
    cases = []
    for number, line in enumerate(lines, 1):
        text = line.partition("#")[0].strip()
        if not text:
            continue
        try:
            cases.append(parse(text))
        except UseError as error:
            raise FileError(f"{path}, line {number}: {error}") from error
    if not cases:
        raise FileError(f"{path}: no case in it", wanted="SEED RIG/PHASE/WHAT on each line")
    return cases


# -- what takes a number ---------------------------------------------------------------------------------------------


def _flash_cut(s: Setting, number: int) -> list[Mishap]:
    """The supply fails in the flash operation so many after the strike; negative: half way through it."""
    return [Mishap(s.strike_s, "desk", "cut_flash", number)]


def _say(s: Setting, number: int) -> list[Mishap]:
    return [Mishap(s.strike_s, "desk", "say", number)]


def _wrap(s: Setting, seconds: int) -> list[Mishap]:
    """The port's millisecond counter wraps so many seconds into the case."""
    s.play["ticks_ms"] = (1 << 30) - (1 + seconds) * 1000
    return []


def _host(s: Setting, kind: int) -> list[Mishap]:
    s.play["host"] = HOSTS[kind % len(HOSTS)]
    return []


def _upload(s: Setting, number: int) -> list[Mishap]:
    """New settings are sent at rest, and the supply fails in a flash operation of theirs (0: in none)."""
    s.upload = document("settings", {**s.values, "room_c": 23.5})
    s.start_s, at_s, piece = 1e6, s.strike_s, 90
    texts: list[dict[str, Any]] = [{"do": "begin", "what": "settings", "size": len(s.upload),
                                    "sha256": hashlib.sha256(s.upload).hexdigest()}]
    for at in range(0, len(s.upload), piece):
        data = base64.b64encode(s.upload[at : at + piece]).decode()
        texts.append({"do": "chunk", "at": at, "data": data})
    texts.append({"do": "commit"})
    if number:
        s.mishaps.append(Mishap(at_s - 1.0, "desk", "cut_flash", number))
    return [Mishap(at_s + 0.2 * n, "request", "", fields) for n, fields in enumerate(texts)]


TAKING = {"upload": _upload, "flash_cut": _flash_cut, "say": _say, "wrap": _wrap, "host": _host}


# -- from line to play -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Built:
    """A case, how it is set up, and what is played."""

    case: Case
    setting: Setting
    play: Play
    strikes: tuple[Strike, ...]


def build(case: Case) -> Built:
    """Work out what a case is."""
    place = warmer(case.rig)
    if case.phase in evenings.EVENINGS:
        s = evenings.EVENINGS[case.phase](place, case.seed)
    else:
        s = set_up(place, case.phase, case.seed)
    strikes = tuple(BY_NAME[act] for act in case.acts if act in BY_NAME)
    for act in case.acts:
        name, _, number = act.partition("@")
        if name in TAKING:
            s.mishaps += TAKING[name](s, int(number))
        elif name in evenings.EVERYDAY:
            evenings.EVERYDAY[name](s)
        else:
            s.mishaps += BY_NAME[name].happens(s)
    if case.phase not in evenings.EVENINGS:
        _begin(s)
        s.end_s = max([s.end_s, *(_watched_s(s, strike) for strike in strikes), s.strike_s + 120.0])
    return Built(case, s, _play(case, s), strikes)


def _begin(s: Setting) -> None:
    room = round(1000 * (s.room_c + s.rng.uniform(-2.0, 2.0)))
    s.mishaps.append(Mishap(
        s.start_s, "request", "", {"do": "start", "stage": s.stage, "for_ms": 0, "room": room}))


def _watched_s(s: Setting, strike: Strike) -> float:
    due_s = strike.within(s.values, s) if strike.within else 0.0
    return s.strike_s + max(strike.watch_s, 0.0 if due_s == float("inf") else 1.3 * due_s + 60.0)


def _play(case: Case, s: Setting) -> Play:
    start = StartTable(
        water_c=s.water_c, bowl_c=s.bowl_c, room_c=s.room_c, chocolate_kg=s.chocolate_kg)
    rig: Any = s.warmer.rig.with_settings(s.rig_changes) if s.rig_changes else s.warmer.rig
    events = tuple(sorted(s.events, key=lambda event: event.at_s))
    return Play(rig, case.seed, s.profile, Scenario(start=start, events=events), tuple(s.mishaps), s.end_s, **s.play)

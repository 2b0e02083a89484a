"""Running a hold: find the board, give it its documents, start, follow it to the end, and say how it went."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from bainboard import settings, wire
from bainwright import __version__
from bainwright.calibration import calibration_record
from bainwright.chocolates.board import stored_profiles
from bainwright.core.errors import FileError, LinkError, RefusedError
from bainwright.core.keys import Interrupts, Keys
from bainwright.display.scene import Scene
from bainwright.display.view import View
from bainwright.drill.overnight_permit import doubts, mark_of, refuse_night
from bainwright.evening import watch
from bainwright.evening.options import HoldSetup
from bainwright.evening.prompts import EveningPrompts, melted_note
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import Profile, window_at
from bainwright.files.documents import document, short_hash
from bainwright.files.rig import Rig
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.link.session import Session
from bainwright.record.writer import LiveLog, make_folder
from bainwright.tuning.gains import NAMES
from bainwright.tuning.load_check import LoadCheck
from bainwright.words import terms
from bainwright.words.advice import advise

RECONNECT_S = 15 * 60.0  # chosen: long enough to find the cable, short enough to be told before the evening is over
SILENT_S = 5.0  # a live board speaks every second; five missed ones are worth a word

_KEYS = (
    "y yes  n no, it thickens  d it thins  r refill coming  b bowl off/on  t test  c other bowl  e end of dipping  "
    "w pause  k lock  Ctrl-C "
)
KEYS = _KEYS + "leave or stop"
KEYS_VIRTUAL = _KEYS + "end"
QUESTION = "Leave the warmer running (l), stop it (s) or go on watching (g)?"
QUESTION_TOLD = "You may close the laptop; the warmer goes on. Ctrl-C once more stops it."


@dataclass
class Outcome:
    """What is left when a hold is over."""

    watch: Watch
    wall_s: float
    facts: dict[str, Any]


def window_of(setup: HoldSetup) -> Window:
    """The chocolate's window as the score and the views use it."""
    return window_at(setup.profile, "melted" if setup.stage == "melted" else "work")


class Runner:
    """One hold on one board.

    Parameters
    ----------
    setup : HoldSetup
        What to hold and how.
    session : Session
        The board.
    view : View
        Who watches.
    """

    def __init__(self, setup: HoldSetup, session: Session, view: View) -> None:
        self.setup, self.session, self.view = setup, session, view
        self.hello: dict[str, Any] = {}
        self.answer: dict[str, Any] = {}
        self.settings: dict[str, Any] = settings.defaults(settings.SETTINGS)
        self._stored_mark = self.settings["drill"]
        self._silent_since_s = time.monotonic()
        self._pot: LoadCheck | None = None  # judged where gains were brought along
        self._next: list[str] = []  # chocolates that are being offered for the next bowl

    # -- before the start --------------------------------------------------------------------------------------------

    def prepare(self) -> None:
        """Say hello, send what the board does not have yet, and start (or join what runs).

        Raises
        ------
        LinkError, RefusedError
            If there is no board, it will not take a document, or it will not start.
        """
        self.hello = self.session.link.hello()
        if not self.session.virtual:  # a virtual evening is the same on every day
            self.session.link.request("clock", wall_s=int(time.time()))
        if self.setup.join:
            self._join()
            return
        self._must_rest()
        self._send_documents()
        self.session.arm()
        self.answer = self.session.link.request("start", drop_earlier=True, **self._start_fields())

    def _must_rest(self) -> None:
        state = self.hello.get("state")
        if state == "trip":
            raise RefusedError(
                "the warmer is latched off until its recessed button is held for 3 s: "
                + terms.fault(self.hello["fault"]),
                hint=advise(self.hello["fault"]).first,
            )
        if state != "idle":
            raise RefusedError("a hold is already running on this warmer", hint="--join watches it")

    def _join(self) -> None:
        """Nothing is sent to a running hold; what it runs on is asked for."""
        if self.hello.get("state") in ("idle", "trip"):
            raise RefusedError("no hold is running on this warmer", hint="leave --join out to start one")
        self._fetch_settings()
        profile = self.setup.profile.document()
        if self.hello.get("profile") != short_hash(document("profile", profile)):
            held = self.session.link.profile()
            raise RefusedError(
                "the warmer holds another chocolate",
                got=held.get("name"),
                wanted=f"{profile['name']} with the same window",
            )

    def _fetch_settings(self) -> None:
        """The settings a board has stored; one that has none runs on the defaults."""
        self.settings = self.session.link.settings(self.hello)

    def _send_documents(self) -> None:
        documents = {"profile": self.setup.profile.document()}
        if self.setup.rig is not None:
            self.settings = dict(self.setup.rig.settings)
        else:
            self._fetch_settings()
        self._mark_drilled()
        if self.setup.rig is not None or self.settings["drill"] != self._stored_mark:
            documents["settings"] = self.settings
        for what, values in documents.items():
            payload = document(what, values)
            if short_hash(payload) != self.hello.get(what):
                self.session.link.upload(what, payload)
        if self.setup.gains or not self.session.virtual:
            # A live board keeps the gains of the hold before until its power goes: say all of them, every time.
            self._send_gains({name: self.settings[name] for name in NAMES} | self.setup.gains)
        if self.setup.gains:
            room_c = self.setup.room_c if self.setup.room_c is not None else self.settings["room_c"]
            self._pot = LoadCheck({**self.settings, **self.setup.gains}, room_c)

    def _send_gains(self, gains: dict[str, Any]) -> None:
        self.session.link.upload("gains", wire.text(list(gains.items())).encode())

    def _mark_drilled(self) -> None:
        """Whether it may be left overnight goes to the board with its settings: its buttons start nights, too."""
        self._stored_mark = self.settings["drill"]
        mark = mark_of(self.settings, self.session.simulated, self.setup.undrilled)
        refuse_night(mark, self.setup.stage)
        self.settings["drill"] = mark

    def _start_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = {"stage": self.setup.stage, "for_ms": round(1000 * (self.setup.for_s or 0))}
        if self.setup.room_c is not None:
            fields["room"] = round(1000 * self.setup.room_c)
        return fields

    def notes(self) -> list[str]:
        """What the person should know before the first minute is over."""
        said = list(self.setup.assumed)
        said += doubts(self.settings["drill"], self.setup.stage, self.setup.for_s)
        short_c = self.answer.get("short", 0) / 1000
        if short_c > 0:
            said.append(
                f"the ceiling keeps the water {short_c:.1f} K below what this hold may need: in a cold room, or as the "
                "bowl empties, the chocolate may end below its window"
            )
        if self.setup.stage == "melted":
            room_c = self.setup.room_c if self.setup.room_c is not None else self.settings["room_c"]
            said.append(melted_note(self.setup.profile, self._rig(), self.setup.for_s, room_c))
        if self.settings["probe.bowl.kind"] == "none":
            said.append("no probe is in the chocolate: its temperature is estimated from the water")
        if self.hello.get("locked"):
            said.append("the warmer's large buttons are locked and only quiet an alarm; k unlocks them")
        return said + self._thermometers()

    def _thermometers(self) -> list[str]:
        """What a real warmer's calibration is worth, and how old it is; a simulated one comes commissioned."""
        if self.session.simulated:
            return []
        path = calibration_record.path_for(self.setup.rig.source if self.setup.rig else None, self.settings["name"])
        profile = self.setup.profile
        try:
            record = calibration_record.read(path)
        except FileError as failed:  # the hold runs already, and does not need it
            return [str(failed)]
        return calibration_record.notes(record, self.settings, profile.high_c - profile.low_c, datetime.now(UTC))

    # -- while it runs -----------------------------------------------------------------------------------------------

    def run(self) -> Outcome:
        """Follow the hold to its end."""
        log = LiveLog(make_folder(self.setup.folder, self.setup.profile.name), self._facts())
        scene = self.scene()
        prompts = EveningPrompts(self.setup.profile, self._rig())
        course = Watch(scene, log, self.view, stay=not self.session.virtual, prompts=prompts)
        start_s = self._silent_since_s = time.monotonic()
        with self.view, Keys() as keys, Interrupts() as interrupts:
            self.session.run()
            while course.ended is None:
                self._turn(course, keys, interrupts)
        return Outcome(course, time.monotonic() - start_s, self.session.facts())

    def scene(self) -> Scene:
        """What the view shows before the board has said anything."""
        return Scene(
            self.setup.profile.name,
            f"the warmer {self.settings['name']!r}",
            window_of(self.setup),
            self.session.simulated,
            self.setup.for_s,
            self.settings["heater_w"],
            locked=bool(self.hello.get("locked")),
        )

    def _rig(self) -> Rig:
        """The warmer as far as it is known: its file, or the settings that its board told."""
        return self.setup.rig or Rig(self.settings["name"], self.settings)

    def _facts(self) -> dict[str, Any]:
        setup = self.setup
        return {
            "VIRTUAL": self.session.simulated,
            "started": datetime.now(UTC).isoformat(timespec="seconds"),
            "profile": setup.profile.document(),
            "stage": setup.stage,
            "for_s": setup.for_s,
            "room_c": setup.room_c,
            "rig": self.settings,
            "gains": setup.gains,
            "board": self.hello,
            "boot": self.answer.get("boot"),
            "hold": self.answer.get("hold", self.hello.get("hold")),
            "bainwright": __version__,
        }

    def _turn(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        """One round: what came, into the log and before the person; then what the person wants."""
        try:
            share = None
            for message in self.session.link.poll():
                course.take(message)
                self._silent_since_s = time.monotonic()
                if isinstance(message, Status):
                    share = self._judged(message, course.scene.bowl_away) or share
            if share is not None:
                self._another_pot(course, share)
            self._key(course, keys.pressed(), interrupts)
            self._interrupted(course, keys, interrupts)
        except LinkError:  # gone, or deaf to a request: the same to the person
            self._find_again(course, interrupts)
        course.log.flush()
        self._troubles(course)
        self.view.refresh(course.scene)

    def _judged(self, status: Status, bowl_away: bool) -> float | None:
        """How many times the heat it should the water took, where its pot is not the one that gains were learnt on."""
        if self._pot is None:
            return None
        bowl = None if status.est or bowl_away else status.bowl
        water_c, bowl_c = (None if each is None else each / 1000 for each in (status.water, bowl))
        return self._pot.step(status.t / 1000, status.duty / 10000, water_c, bowl_c)

    def _another_pot(self, course: Watch, share: float) -> None:
        """Nobody's gains: back to those that the board works out by itself, without a bump."""
        course.note(course.end_ms, "another_pot", {"share": round(share, 1)})
        safe = settings.defaults(settings.SETTINGS)
        try:
            with self.session.held():
                self._send_gains({name: safe[name] for name in NAMES})
        except RefusedError as refused:
            self._show(course, f"the warmer keeps the gains it has: {refused}")

    def _troubles(self, course: Watch) -> None:
        silent_s = time.monotonic() - self._silent_since_s
        trouble = course.log.trouble or ""
        if silent_s > SILENT_S:
            trouble = f"no word from the board for {silent_s:.0f} s"
        if trouble and not course.scene.trouble:
            self.view.say(trouble)
        course.scene.trouble = trouble

    # -- a lost board ------------------------------------------------------------------------------------------------

    def _find_again(self, course: Watch, interrupts: Interrupts) -> None:
        """Try until the board is back, the time for that is over, or the person has had enough."""
        course.note(course.end_ms, "lost", {})
        give_up_s = time.monotonic() + (0.0 if self.session.virtual else RECONNECT_S)
        while time.monotonic() < give_up_s and not (interrupts.count or interrupts.go):
            if self.session.reopen():
                course.note(course.end_ms, "found", {})
                self._silent_since_s = time.monotonic()
                return
            course.scene.trouble = "the board is gone: look at the cable. The warmer goes on without the PC"
            self.view.refresh(course.scene)
            time.sleep(0.5)
        course.ended = watch.LOST

    # -- the person --------------------------------------------------------------------------------------------------

    def _key(self, course: Watch, key: str, interrupts: Interrupts) -> None:
        status = course.scene.status
        if not key or status is None:
            return
        if course.scene.question:
            self._answered(course, key, interrupts)
            return
        acts: dict[str, tuple[str, dict[str, Any]]] = {
            "r": ("announce", {}),
            "y": ("confirm", {}),
            "n": ("thicker", {}),
            "d": ("thinner", {}),
            "b": ("bowl", {"at": "on" if course.scene.bowl_away else "off"}),
            "k": ("lock", {"at": "off" if course.scene.locked else "on"}),
            "t": ("test", {}),
            "e": ("finish", {"to": "rest"}),
            "w": ("resume" if status.state == "pause" else "pause", {}),
        }
        if key in acts:
            self._ask(course, *acts[key])
        elif key == "c":
            self._offer(course)

    def _ask(self, course: Watch, do: str, fields: dict[str, Any]) -> bool:
        """A request in the middle of a hold; a no is shown and the hold goes on."""
        try:
            with self.session.held():
                self.session.link.request(do, **fields)
        except RefusedError as refused:
            why = (refused.hint or str(refused)).rpartition(" refused: ")[2]  # before it: step and act, as programs say
            self._show(course, f"not now: {why}")
            return False
        return True

    def _show(self, course: Watch, text: str) -> None:
        course.scene.events.append((course.scene.t_s, text))
        self.view.event(course.scene.t_s, text)

    # -- another bowl ------------------------------------------------------------------------------------------------

    def _offer(self, course: Watch) -> None:
        """Which chocolate comes next: one of those the board keeps."""
        with self.session.held():
            names = [each.name for each in stored_profiles(self.session.link, self.hello)]
        self._next = [name for name in names if name != course.scene.chocolate]
        if not self._next:
            self._show(course, "no other chocolate is kept on the warmer: bain profile send brings one, at rest")
            return
        offered = ", ".join(f"{number} {name}" for number, name in enumerate(self._next, 1))
        course.scene.question = f"Which chocolate is the next bowl: {offered}? Any other key: none"
        self.view.say(course.scene.question)

    def _chosen(self, course: Watch, key: str) -> None:
        """The bath goes to the next bowl; from here on its figures are the ones that count."""
        names, self._next, course.scene.question = self._next, [], ""
        if not key.isdigit() or not 1 <= int(key) <= len(names):
            return
        name = names[int(key) - 1]
        with self.session.held():
            values = self.session.link.profile(name)
        if self._ask(course, "change", {"name": name}):
            course.scene.chocolate = name
            if course.prompts is not None:
                course.prompts.change(Profile(**values, of=values["kind"]))

    def _interrupted(self, course: Watch, keys: Keys, interrupts: Interrupts) -> None:
        if course.ended is not None:
            return
        if interrupts.go and not self.session.virtual:  # the PC goes; the warmer needs none
            course.ended = watch.LEFT
            return
        if not interrupts.count and not interrupts.go:
            return
        alone = self.session.virtual or not keys.there
        if alone or interrupts.count > 1:
            self._stop(course)
        elif not course.scene.question or self._next:
            self._next, course.scene.question = [], QUESTION
            self.view.say(f"{QUESTION} {QUESTION_TOLD}")

    def _answered(self, course: Watch, key: str, interrupts: Interrupts) -> None:
        if self._next:
            self._chosen(course, key)
        elif key == "l":
            course.ended = watch.LEFT
        elif key == "s":
            self._stop(course)
        elif key == "g":
            course.scene.question = ""
            interrupts.count = 0

    def _stop(self, course: Watch) -> None:
        """Ask the board to stop; what it says on the way there still goes into the log."""
        with self.session.held():
            self.session.link.request("stop")
        for message in self.session.link.poll():
            course.take(message)
        course.ended = course.ended or watch.STOPPED

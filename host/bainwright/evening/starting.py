"""Starting a hold: send the board the documents it lacks, start or join, and list what the person should know."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Any

from bainboard import settings, wire
from bainwright.calibration import calibration_record
from bainwright.chocolates.board import gives_way
from bainwright.core.errors import FileError, LinkError, RefusedError, TrippedError
from bainwright.core.keys import Interrupts
from bainwright.core.units import duration_words
from bainwright.drill import overnight_permit
from bainwright.evening.options import HoldSetup
from bainwright.evening.prompts import HUMIDITY
from bainwright.files.chocolate import CAPS, Profile
from bainwright.files.documents import OPEN, document, short_hash
from bainwright.files.rig import Rig
from bainwright.link.protocol import settings_damaged
from bainwright.link.session import Session
from bainwright.link.stopping import NOT_OFF, after_refusal, stop
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings, steady
from bainwright.physics.materials import WATER_KG_PER_L
from bainwright.rigs.board import changed_words, refuse_another, refuse_lost_corrections
from bainwright.rigs.warnings import check_ids
from bainwright.tuning.gains import NAMES
from bainwright.words import terms
from bainwright.words.advice import advise, at_rest, refuse_heat_at_rest

NIGHT_S = 9 * 3600.0  # the default for a night; the plan uses the same

# A start that failed so may have begun a hold on a board of an earlier version. Any other refusal changed nothing, and
# a stop after it would end what somebody started at the buttons.
FAILED_WITHIN = ("no memory now", "an error in the firmware")
# A calibration whose process was killed could not end its lock, which is there for probes that lie elsewhere.
LOCKED_OUT = "the heat is locked out"
ENDS_LOCK = ("if none runs, put the probes back where they belong and press the board's reset button, or wait: the "
             "lock ends by itself within half an hour")


class Starter:
    """Brings a board from its hello to a running hold.

    Parameters
    ----------
    setup : HoldSetup
        What to hold and how.
    session : Session
        The board.

    Attributes
    ----------
    hello, answer : dict
        What the board replied to hello and to start.
    settings : dict
        The settings the hold runs on.
    """

    def __init__(self, setup: HoldSetup, session: Session) -> None:
        self.setup, self.session = setup, session
        self.hello: dict[str, Any] = {}
        self.answer: dict[str, Any] = {}
        self._clock: dict[str, Any] = {}  # what the board replied to the time of day
        self.settings: dict[str, Any] = settings.defaults(settings.SETTINGS)
        self._stored_status = self.settings["drill"]
        self._clock_notes: list[str] = []
        self._changed: list[str] = []  # what the warmer had stored, and has not any more

    def prepare(self, interrupts: Interrupts) -> None:
        """Say hello, send what the board does not have yet, then start the hold or join the one that runs.

        Parameters
        ----------
        interrupts : Interrupts
            Counts from the request to start, or from when the hold is joined.

        Raises
        ------
        LinkError, RefusedError, FileError
            If there is no board, it refuses a document, or it does not start; or the rig is one for no board.
        """
        if self.setup.rig is not None and not (self.session.virtual or self.setup.join):
            check_ids(self.setup.rig)  # before anything is sent over the settings that the board has
        link = self.session.link
        link.tells = False  # it is refused with the same words
        self.hello = link.hello()
        if not self.session.virtual:  # a virtual evening is the same on every day
            self._clock, self._clock_notes = link.set_clock(int(time.time()))
        if self.setup.join:
            self._join()
            interrupts.counting = True
            return
        self._refuse_unless_idle()
        self._send_documents()
        self.session.arm()
        interrupts.counting = True
        self._start()
        if interrupts.count or interrupts.go:
            raise KeyboardInterrupt

    def _start(self) -> None:
        """Request the start. An answer that was lost leaves no hold behind that nobody knows of."""
        try:
            self.answer = self.session.link.request("start", drop_earlier=True, **self._start_fields())
        except LinkError as failed:
            if stop(self.session) or self.session.virtual:
                raise
            raise LinkError(str(failed), hint=NOT_OFF) from None
        except RefusedError as refused:
            if str(refused.hint).startswith(LOCKED_OUT):
                raise RefusedError(str(refused), hint=ENDS_LOCK) from None
            if not str(refused.hint).startswith(FAILED_WITHIN):
                raise after_refusal(self.session, refused) from None
            if stop(self.session) or self.session.virtual:
                raise
            raise RefusedError(str(refused), hint=NOT_OFF) from None
        self._refuse_another_window()

    def _refuse_another_window(self) -> None:
        """A board that answers with another chocolate's figures is stopped, before it has warmed anything."""
        profile, names = self.setup.profile, ("low", "target", "high")
        wanted = [round(1000 * getattr(profile, f"{name}_c")) for name in names]
        got = [self.answer[name] for name in names]
        if self.setup.stage != "work" or got == wanted:
            return
        off = stop(self.session) or self.session.virtual
        raise RefusedError("the warmer started with another window than this chocolate's", got=_window_words(got),
                           wanted=_window_words(wanted), hint="it was stopped; try again" if off else NOT_OFF)

    def abandon(self) -> bool:
        """Stop the hold if this has started it: nobody would know of it. False: it may still heat."""
        return not self.answer or stop(self.session)

    @property
    def number(self) -> int | None:
        """The board's own number of the hold."""
        number: int | None = self.answer.get("hold", self.hello.get("hold"))
        return number

    @property
    def rig(self) -> Rig:
        """The warmer: its file where one was named, else the settings that its board reported."""
        return self.setup.rig or Rig(self.settings["name"], self.settings)

    @property
    def room_c(self) -> float:
        """The room's temperature: as requested, else the warmer's own setting."""
        return float(self.setup.room_c if self.setup.room_c is not None else self.settings["room_c"])

    @property
    def for_s(self) -> float | None:
        """How long the hold takes from its start; of one that is joined, as its board reports. None: until stopped."""
        if self.setup.join:
            left_ms = self._clock.get("left")
            return None if left_ms is None else (self._clock.get("t", 0) + left_ms) / 1000
        return self.setup.for_s

    @property
    def ran_s(self) -> float:
        """How long the hold that is joined had run when this program asked."""
        return float(self._clock.get("t", self.hello.get("t", 0))) / 1000

    def send_gains(self, gains: dict[str, Any]) -> None:
        """Replace the control gains of the board."""
        self.session.link.upload("gains", wire.text(list(gains.items())).encode())

    # -- before the start ----------------------------------------------------------------------------------------------

    def _refuse_unless_idle(self) -> None:
        state = self.hello.get("state")
        if state == "trip":
            raise self._tripped()
        if state != "idle":
            raise RefusedError("a hold is already running on this warmer", hint="--join watches it")
        refuse_heat_at_rest(self.hello, self.rig.bath)
        if self.setup.rig is not None and not self.session.virtual:
            refuse_another(self.hello, self.setup.rig)
            if not settings_damaged(self.hello):
                before = self.session.link.settings(self.hello)
                refuse_lost_corrections(before, self.setup.rig)
                self._changed = changed_words(self.hello, before, self.setup.rig)

    def _tripped(self) -> TrippedError:
        if self.setup.rig is None and not settings_damaged(self.hello):
            self.settings = self.session.link.settings(self.hello)
        advice = advise(self.hello["fault"], self.rig.bath, sure=False)
        return TrippedError(
            f"the warmer has tripped and stays off: {terms.fault(self.hello['fault'], self.rig.bath)}",
            hint=f"{advice.safety} {advice.first} To clear the trip, hold the recessed button for 3 s",
        )

    def _join(self) -> None:
        """Read what the running hold uses; nothing is sent to it."""
        if self.hello.get("state") == "trip":  # while no PC watched: whoever comes to look must learn of it
            raise self._tripped()
        if self.hello.get("state") == "idle":
            raise RefusedError("no hold is running on this warmer",
                               hint=at_rest(self.hello) or "leave --join out to start one")  # fmt: skip
        self.settings = self.session.link.settings(self.hello)
        profile = self.setup.profile.document()
        if self.hello.get("profile") != short_hash(document("profile", profile)):
            held = self.session.link.profile()
            raise RefusedError(
                "the warmer holds another chocolate",
                got=held.get("name"),
                wanted=f"{profile['name']} with the same window",
            )

    def _send_documents(self) -> None:
        setup, link = self.setup, self.session.link
        documents = {"profile": setup.profile.document()}
        self.settings = link.settings(self.hello) if setup.rig is None else dict(setup.rig.settings)
        self._set_drill_status()
        if setup.rig is not None or self.settings["drill"] != self._stored_status:
            documents["settings"] = self.settings
        for what, values in documents.items():
            payload = document(what, values)
            if short_hash(payload) != self.hello.get(what):
                lost = gives_way(link, setup.profile.name) if what == "profile" and not self.session.virtual else ""
                self._changed += [f"{setup.profile.name} takes the place of {lost} in the warmer"] if lost else []
                link.upload(what, payload)
                if short_hash(payload) != link.hello().get(what):
                    raise RefusedError(f"the warmer took the {what}, and reports that it has another",
                                       hint="try again; if it stays so, install its firmware again: bain install")
        if setup.gains or not self.session.virtual:
            # A live board still has the gains of the hold before, until its power goes: send all of them every time.
            self.send_gains({name: self.settings[name] for name in NAMES} | setup.gains)

    def _set_drill_status(self) -> None:
        """Put the overnight permit into the settings: the board's own buttons start nights, too."""
        self._stored_status = self.settings["drill"]
        status = overnight_permit.cutoff_status(self.settings, self.session.simulated, self.setup.undrilled,
                                                board=str(self.hello["board"]),
                                                firmware=str(self.hello.get("version")))  # fmt: skip
        if status == OPEN and self.setup.stage == overnight_permit.OVERNIGHT:
            self._take_permit_back()
        overnight_permit.refuse_overnight(status, self.setup.stage, self.settings)
        self.settings["drill"] = status

    def _take_permit_back(self) -> None:
        """A night that is refused here must not start at the buttons, by what the board was told before."""
        link = self.session.link
        stored = link.settings(self.hello)
        if stored["drill"] != OPEN:
            link.upload("settings", document("settings", {**stored, "drill": OPEN}))

    def _start_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = {"stage": self.setup.stage, "for_ms": round(1000 * (self.setup.for_s or 0))}
        if self.setup.room_c is not None:
            fields["room"] = round(1000 * self.setup.room_c)
        return fields

    # -- what the person should know -----------------------------------------------------------------------------------

    def notes(self) -> list[str]:
        """What the person should know within the first minute."""
        notes = [*self._clock_notes, *self._changed, *self.setup.assumed]
        notes += overnight_permit.warnings(self.settings["drill"], self.setup.stage, self.setup.for_s, self.settings)
        short_c = self.answer.get("short", 0) / 1000
        if short_c > 0:
            notes.append(
                f"the ceiling keeps the {self.rig.bath} {short_c:.1f} °C below what this hold may need: in a cold "
                "room, or as the bowl empties, the chocolate may stay below its window. A lid and a warmer room help"
            )
        alone_h = float(self.settings["trip.run_h"])
        if (self.setup.for_s or 0.0) > 3600.0 * alone_h:
            notes.append(f"with nobody there for {alone_h:g} h the heat goes off: press yes once in that time")
        profile = self.setup.profile
        if self.setup.room_c is not None and self.setup.room_c > profile.high_c:
            notes.append(f"the room at {self.setup.room_c:g} °C is warmer than the window up to {profile.high_c:g} °C: "
                         "a warmer cannot cool, so cool the room")
        if self.setup.stage == "melted":
            notes.append(melted_note(self.setup.profile, self.rig, self.setup.for_s, self.room_c))
        if self.settings["probe.bowl.kind"] == "none":
            notes.append(f"no probe is in the chocolate: its temperature is estimated from the {self.rig.bath}")
        if self.hello.get("locked"):
            notes.append("the warmer's large buttons are locked and only silence an alarm; k unlocks them")
        return notes + self._thermometer_notes()

    def _thermometer_notes(self) -> list[str]:
        """How good and how old a real warmer's calibration is; a simulated warmer needs none."""
        if self.session.simulated:
            return []
        path = calibration_record.path_for(self.setup.rig.source if self.setup.rig else None, self.settings["name"])
        profile = self.setup.profile
        try:
            record = calibration_record.read(path)
        except FileError as failed:  # the hold runs without it
            return [str(failed)]
        return calibration_record.notes(record, self.settings, profile.high_c - profile.low_c, datetime.now(UTC))


def _window_words(figures: list[int]) -> str:
    low, target, high = figures
    return f"{low / 1000:g} to {high / 1000:g} °C, aimed at {target / 1000:g} °C"


def melted_note(profile: Profile, rig: Rig, for_s: float | None, room_c: float) -> str:
    """What to do before a night: the lid, and the water that evaporates until you get up."""
    body = body_of(rig)
    kind, most = terms.kind(profile.of), f"{profile.never_above_c:g} °C"
    is_the_kinds = profile.never_above_c == CAPS[profile.of].never_above_c
    limit = f"{kind} must stay under {most}" if is_the_kinds else f"never above {most}"
    said = f"melted stock, treated as {kind}: {limit}"
    if not body.is_bath:
        return f"{said}; put the lid on"
    around = Surroundings(room_c, HUMIDITY, float(rig.settings["chocolate_kg"]), ring_cover=0.0, lid=True)
    night_s = for_s or NIGHT_S
    gone_l = steady(body, profile.target_c, around).vapour_kg_per_h * night_s / 3600.0 / WATER_KG_PER_L
    if gone_l < 0.05:  # it would show as 0.0 L
        return f"{said}; put the lid on"
    return (f"{said}; put the lid on, and cover the water round the bowl: open, it loses about {gone_l:.1f} of its "
            f"{float(rig.settings['water_l']):.1f} L in {duration_words(night_s)}")

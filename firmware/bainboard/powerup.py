"""Why the last run ended and what it was doing: a record that survives a power cut. Pure: payloads in and out.

A hold never resumes by itself, except after a power cut, when a setting allows it and everything about the cut is
known. Otherwise it is offered, and a person at the warmer or at the PC decides.
"""

from math import log

from bainboard import faults, wire

RUNNING, CLEAN, CRASH, MEMORY = "running", "clean", "crash", "memory"  # how the record says it ended
NEW, POWER, HUNG, RESET = "new", "power", "hung", "reset"  # what else the next start may conclude
REPORTED_AS = {CRASH: faults.CRASHED, MEMORY: faults.MEMORY, HUNG: faults.RESTARTED}

# The ports cannot tell a brown-out from a power cut, nor rp2 its watchdog from a reset by the firmware. The firmware
# notes its own resets in the record, so a watchdog cause without such a note is the watchdog.
CAUSES = {"PWRON_RESET": POWER, "WDT_RESET": HUNG}

REBOOTS = 3  # abnormal restarts, with less than this between them, that latch (fixed by the safety rules)
HEALTHY_MS = 10 * 60 * 1000
WRITE_MS = 10 * 60 * 1000  # how often a hold's record is written (chosen: 84 writes a night)
KNOWN_MS = 60 * 1000  # and where a hold may resume by itself: an outage under 10 min must be known
SET_BACK_S = 60  # chosen: two clocks of whole seconds, one corrected by the PC in between
RESUMES, OUTAGE_S, NEAR_K = 2, 600, 5.0  # most resumes, longest outage, farthest from target (safety rules)
LEAST_LEFT_MS = 60 * 1000  # of a timed hold; with less it counts as over
LEAST_OVER_ROOM_K = 0.5  # water nearly at room temperature gives only a lower bound

_TEXTS = ("end", "stage", "name")
_NUMBERS = ("bad", "resumes", "for_ms", "left_ms", "room", "water", "wall_s")
_EVIDENCE = ("broken_off", "believed", "suspicions", "unasked", "alone", "quarters")


class PowerUp:
    """Judges at boot how the last run ended, then maintains the record of this run.

    `evidence` is what the last run's warmer had seen, `why` how that run ended, `ended` the fault to report for it;
    `rebooting` whether restarts were too many; `offer` a hold that was under way, or None: names as in the record,
    temperatures in m°C.
    """

    def __init__(self, payload: bytes | None, cause: str) -> None:
        doc = _sound(payload)
        end = doc.get("end", NEW)
        self.why = CAUSES.get(cause, RESET) if end == RUNNING else end
        self.ended = REPORTED_AS.get(self.why, faults.NONE)
        self._bad = doc.get("bad", 0) + (1 if self.ended != faults.NONE else 0)
        self.rebooting = self.ended != faults.NONE and self._bad >= REBOOTS
        self.resumes = doc.get("resumes", 0)
        under_way = "stage" in doc and end != CLEAN
        self.offer = doc if under_way and _worth(doc) else None
        self.asked = False  # the offer was reported
        self.off_known = False  # how long the power was off was reported to the warmer
        believed = doc.get("believed")
        believed_c = None if believed is None else believed / 1000
        self.evidence = (doc.get("broken_off", 0), believed_c, doc.get("suspicions", 0), doc.get("unasked", 0),
                         doc.get("alone"), doc.get("quarters", 0))
        self.stage: str | None = None
        self._due_ms: int | None = 0  # write at once: the record must say that it runs
        self._healthy = False

    # -- the record --------------------------------------------------------------------------------------------------

    def due(self, now_ms: int, stage: str | None, often: bool, evidence: tuple) -> bool:
        """Note the hold's stage (None: no hold) and the warmer's evidence; True when the record must be written now."""
        if stage != self.stage or evidence != self.evidence:
            self.stage, self.evidence = stage, evidence
            self._due_ms = now_ms
        if not self._healthy and now_ms >= HEALTHY_MS:
            self._healthy = True
            if self._bad:
                self._bad, self._due_ms = 0, now_ms
        if self._due_ms is None and stage is not None:
            self._due_ms = now_ms + (KNOWN_MS if often else WRITE_MS)
        return self._due_ms is not None and now_ms >= self._due_ms

    def record(self, end: str, hold: list | None) -> bytes:
        """The payload: how it ended, or that it runs; `hold` are the pairs of a hold under way, or None."""
        self._due_ms = None
        pairs = [("end", end), ("bad", self._bad), ("resumes", self.resumes)]
        if hold is None and self.offer is not None:
            hold = [(name, self.offer[name]) for name in ("stage", "name") + _NUMBERS[2:]]
        broken_off, believed_c, suspicions, unasked, alone_c, quarters = self.evidence
        pairs += [("broken_off", broken_off), ("suspicions", suspicions), ("unasked", unasked), ("quarters", quarters)]
        if believed_c is not None:
            pairs.append(("believed", max(0, wire.milli(believed_c))))
        if alone_c is not None:
            pairs.append(("alone", alone_c))
        return wire.text(pairs + (hold or [])).encode()

    def cleared(self) -> None:
        """A person cleared the latch: count restarts from zero again."""
        self._bad, self.rebooting, self._due_ms = 0, False, 0

    def started(self, by_itself: bool) -> None:
        """A hold begins, the offered one or another: the end of the last run no longer matters."""
        self.ended, self.offer = faults.NONE, None
        self.resumes = self.resumes + 1 if by_itself else 0

    def drop(self) -> None:
        """The offer is declined."""
        if self.offer is not None:
            self.offer, self._due_ms = None, 0

    # -- the offer ---------------------------------------------------------------------------------------------------

    def off_s(self, wall_s: int, up_s: int) -> int | None:
        """How long the power was off, s, by the time of day, at most a minute too much; None when it is not known.

        It is not known either when the clock was set back: a hold off for hours must not look like one of no time.
        """
        then_s = self.offer["wall_s"]
        off_s = wall_s - up_s - then_s
        return max(0, off_s) if then_s and wall_s and off_s > -SET_BACK_S else None

    def cooled_s(self, water_c: float, gains) -> int:
        """Estimate how long, from how far the water cooled and the losses and loads as tuned or computed, s."""
        room_c = self.offer["room"] / 1000
        over_k, left_k = self.offer["water"] / 1000 - room_c, max(water_c - room_c, LEAST_OVER_ROOM_K)
        if not over_k > left_k:
            return 0
        bowl_j_per_k = gains.bowl_w_per_k * gains.bowl_tau_s
        return int((gains.water_j_per_k + bowl_j_per_k) / gains.loss_w_per_k * log(over_k / left_k))

    def may_resume(self, wanted: bool, off_s: int | None, water_c: float) -> bool:
        """May the hold resume by itself? Every condition must be known to hold."""
        return (wanted and self.why == POWER and self.resumes < RESUMES and off_s is not None and off_s < OUTAGE_S
                and abs(water_c - self.offer["water"] / 1000) <= NEAR_K)


def _worth(doc: dict) -> bool:
    """Is enough of the hold left to offer it? A hold without an end always has enough."""
    return doc["for_ms"] == 0 or doc["left_ms"] >= LEAST_LEFT_MS


def _sound(payload: bytes | None) -> dict:
    """The record's names and values: empty if it is not whole, without a hold if a figure of the hold is missing."""
    doc = wire.parse(payload)[0] if payload else None
    doc = doc or {}
    good = {name: doc[name] for name in _TEXTS if isinstance(doc.get(name), str)}
    for name in _NUMBERS + _EVIDENCE:
        value = doc.get(name)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            good[name] = value
    if not all(name in good for name in _TEXTS + _NUMBERS):
        good.pop("stage", None)
    return good

"""Why the board last ended and what it was doing then: a record that outlives the power. Pure: payloads in and out.

A hold never goes on by itself, except after a power cut, when a setting allows it and everything about the cut is
known. Otherwise it is offered, and a person at the warmer or at the PC takes it up.
"""

from math import log

from bainboard import faults, wire

RUNNING, CLEAN, CRASH, MEMORY = "running", "clean", "crash", "memory"  # how the record says it ended
NEW, POWER, HUNG, RESET = "new", "power", "hung", "reset"  # what else is made of it at the next start
REPORTED_AS = {CRASH: faults.CRASHED, MEMORY: faults.MEMORY, HUNG: faults.RESTARTED}

# The ports tell no brown-out from a power cut, and rp2 not its watchdog from a reset by the firmware; the firmware's
# own resets say so in the record, so what is left of the watchdog's cause is the watchdog.
CAUSES = {"PWRON_RESET": POWER, "WDT_RESET": HUNG}

REBOOTS = 3  # abnormal restarts, with less than this between them, that latch (fixed by the safety rules)
HEALTHY_MS = 10 * 60 * 1000
WRITE_MS = 10 * 60 * 1000  # the record is kept this fresh in a hold (chosen: 84 writes a night)
KNOWN_MS = 60 * 1000  # and this fresh where a hold may go on by itself: an outage under 10 min must be known
RESUMES, OUTAGE_S, NEAR_K = 2, 600, 5.0  # it goes on by itself so often, after so long, this near (safety rules)
LEAST_LEFT_MS = 60 * 1000  # of a hold with an end; less is over
LEAST_OVER_ROOM_K = 0.5  # water that is nearly as cool as the room says only "at least"

_TEXTS = ("end", "stage", "name")
_NUMBERS = ("bad", "resumes", "for_ms", "left_ms", "room", "water", "wall_s")


class PowerUp:
    """The last end, judged at boot; then the keeper of the record of this run.

    `why` is how the last run ended; `ended` the fault to tell of it, `rebooting` whether it was one too many; `offer` a
    hold that was under way, or None: names as in the record, temperatures in m°C.
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
        self.asked = False  # the offer was told
        self.stage: str | None = None
        self._due_ms: int | None = 0  # write at once: from now on it is running
        self._healthy = False

    # -- the record --------------------------------------------------------------------------------------------------

    def due(self, now_ms: int, stage: str | None, often: bool) -> bool:
        """Note the stage of the hold (None: none); is the record to be written now?"""
        if stage != self.stage:
            self.stage = stage
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
        return wire.text(pairs + (hold or [])).encode()

    def cleared(self) -> None:
        """A person cleared the latch: the count of restarts begins again."""
        self._bad, self.rebooting, self._due_ms = 0, False, 0

    def started(self, by_itself: bool) -> None:
        """A hold begins, the offered one or another: what ended the last run is over and done with."""
        self.ended, self.offer = faults.NONE, None
        self.resumes = self.resumes + 1 if by_itself else 0

    def drop(self) -> None:
        """The offer is declined."""
        if self.offer is not None:
            self.offer, self._due_ms = None, 0

    # -- the offer ---------------------------------------------------------------------------------------------------

    def off_s(self, wall_s: int, up_s: int) -> int | None:
        """How long the power was off, s, by the time of day; None when it is not known. At most a minute too much."""
        then_s = self.offer["wall_s"]
        return None if not then_s or not wall_s else max(0, wall_s - up_s - then_s)

    def cooled_s(self, water_c: float, gains) -> int:
        """About how long, by how far the water has cooled with the losses and loads as tuned or worked out, s."""
        room_c = self.offer["room"] / 1000
        over_k, left_k = self.offer["water"] / 1000 - room_c, max(water_c - room_c, LEAST_OVER_ROOM_K)
        if not over_k > left_k:
            return 0
        bowl_j_per_k = gains.bowl_w_per_k * gains.bowl_tau_s
        return int((gains.water_j_per_k + bowl_j_per_k) / gains.loss_w_per_k * log(over_k / left_k))

    def may_resume(self, wanted: bool, off_s: int | None, water_c: float) -> bool:
        """May the hold go on by itself? Every condition must be known to hold."""
        return (wanted and self.why == POWER and self.resumes < RESUMES and off_s is not None and off_s < OUTAGE_S
                and abs(water_c - self.offer["water"] / 1000) <= NEAR_K)


def _worth(doc: dict) -> bool:
    """Is enough of the hold left to be offered? One without an end always is."""
    return doc["for_ms"] == 0 or doc["left_ms"] >= LEAST_LEFT_MS


def _sound(payload: bytes | None) -> dict:
    """The record's names and values; nothing of a record that is not whole, and no hold without all of its figures."""
    doc = wire.parse(payload)[0] if payload else None
    doc = doc or {}
    good = {name: doc[name] for name in _TEXTS if isinstance(doc.get(name), str)}
    for name in _NUMBERS:
        value = doc.get(name)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            good[name] = value
    if not all(name in good for name in _TEXTS + _NUMBERS):
        good.pop("stage", None)
    return good

"""What the board saves for evenings without a PC: a few chocolates, and what was asked for last time."""

from bainboard import store, wire
from bainboard.chunks import short_hash

MOST = 6  # chocolates; chosen: more than anyone works with, and three lamps can show which


def name_of(payload: bytes) -> str:
    """The name of a stored chocolate."""
    doc, why = wire.parse(payload)
    return doc.get("name", "dark") if why is None else ""


class SavedProfiles:
    """Places for chocolates, `kept1` to `kept6`, each in two slots: old or new when power fails.

    Each has a place of its own, since a board that has run for a while has no long piece of memory to read one record
    of all. Names and hashes stay in memory once read: `look` reads one place, so that a hold can take it in slices.
    """

    def __init__(self, files) -> None:
        self._files = files
        self._last = store.Slots(files, "last")
        self._rows: list = []  # (name, short hash) of each place that was read
        self._looked = False  # at all of them

    def _place(self, place: int):
        return store.Slots(self._files, "kept" + str(place + 1))

    def at(self, place: int) -> bytes | None:
        """The payload in a place from 0 on, or None."""
        return self._place(place).load()[0] if 0 <= place < MOST else None

    def look(self) -> bool:
        """Read the next place that was not read yet; False when all were. They are filled from the first on."""
        if not self._looked:
            payload = self.at(len(self._rows))
            if payload is None:
                self._looked = True
            else:
                self._rows.append((name_of(payload), short_hash(payload)))
        return not self._looked

    def rows(self) -> list:
        """(name, short hash) of every saved chocolate, in the order of their places."""
        while self.look():
            pass
        return self._rows

    def find(self, name: str) -> int | None:
        """The place of that name, or None."""
        for place, row in enumerate(self.rows()):
            if row[0] == name:
                return place
        return None

    def put(self, payload: bytes) -> None:
        """Save a chocolate: over the one of its name, or in a free place, or over the last."""
        name = name_of(payload)
        place = self.find(name)
        if place is None:
            place = min(len(self.rows()), MOST - 1)
        row = name, short_hash(payload)
        if self._rows[place : place + 1] == [row]:
            return
        self._looked = False  # until it is written it may be the old or the new one
        del self._rows[place:]
        self._place(place).save(payload)

    def last(self) -> dict:
        """Stage, time and room of the last evening, or the defaults."""
        payload = self._last.load()[0]
        doc = wire.parse(payload)[0] if payload else None
        return doc or {"stage": "melt", "for_ms": 0, "room": 20000}

    def remember(self, stage: str, for_ms: int, room: int) -> None:
        """An evening was started; written only when it differs from the one before."""
        if self.last() == {"stage": stage, "for_ms": for_ms, "room": room}:
            return
        try:
            self._last.save(wire.text([("stage", stage), ("for_ms", for_ms), ("room", room)]).encode())
        except OSError:  # full or worn flash: no reason not to start; a later repetition repeats an older evening
            return

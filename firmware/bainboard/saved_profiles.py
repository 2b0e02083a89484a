"""What a board keeps so that an evening needs no PC: a few chocolates, and what was asked for last time."""

from bainboard import store, wire

MOST = 6  # chocolates; chosen: more than anyone works with, and three lamps can show which


def name_of(payload):
    """What the chocolate of a stored profile is called."""
    doc, why = wire.parse(payload)
    return doc.get("name", "dark") if why is None else ""


class SavedProfiles:
    """Places for chocolates, `kept1` to `kept6`, each in two slots: old or new when power fails.

    A place each and not one record of all: a board that has run a while has no long piece of memory left to read it.
    """

    def __init__(self, files):
        self._files = files
        self._last = store.Slots(files, "last")

    def _place(self, place):
        return store.Slots(self._files, "kept" + str(place + 1))

    def at(self, place):
        """The payload in a place from 0 on, or None."""
        return self._place(place).load()[0] if 0 <= place < MOST else None

    def count(self):
        """How many there are; the places are filled from the first on."""
        place = 0
        while self.at(place) is not None:
            place += 1
        return place

    def find(self, name):
        """The place of that name, or None."""
        for place in range(self.count()):
            if name_of(self.at(place)) == name:
                return place
        return None

    def put(self, payload):
        """Keep a profile: in the place of the one with its name, or a free one; with none free the last gives way."""
        place = self.find(name_of(payload))
        if place is None:
            place = min(self.count(), MOST - 1)
        if self.at(place) != payload:
            self._place(place).save(payload)

    def last(self):
        """Stage, time and room of the last evening, with the usual where there was none."""
        payload = self._last.load()[0]
        doc = wire.parse(payload)[0] if payload else None
        return doc or {"stage": "melt", "for_ms": 0, "room": 20000}

    def remember(self, stage, for_ms, room):
        """An evening was started; written only when it is another than before."""
        if self.last() == {"stage": stage, "for_ms": for_ms, "room": room}:
            return
        try:
            self._last.save(wire.text([("stage", stage), ("for_ms", for_ms), ("room", room)]).encode())
        except OSError:  # full or worn flash: no reason not to start; only a later repetition repeats an older evening
            return

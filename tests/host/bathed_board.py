"""A fake board whose probes lie in known baths."""

from __future__ import annotations

from fake_board import FakeBoard, status_line

from bainboard import settings as board
from bainwright.link.protocol import Link

VALUES = {**board.defaults(board.SETTINGS), "probe.bowl.kind": "onewire"}


class Bathed(FakeBoard):
    """A board that says the next batch of temperatures, a line a second, each time its heat is locked out."""

    def __init__(self, batches, state):
        super().__init__(state=state)
        self.say(status_line(1, 0, water=20000, bowl=20000))  # of before, with the probes still elsewhere
        self.batches, self.state = [*batches], state
        self.hold = []  # lines of a hold, said once its settings were fetched

    def write(self, data):
        super().write(data)
        if self.asked[-1]["do"] == "commit":
            self.say(*self.hold)
        if self.asked[-1]["do"] == "cold" and self.asked[-1]["for_ms"] and self.batches:
            self.say(*(status_line(at, 0, state=self.state, stage="", target=None, water_target=None, duty=0, on=0,
                                   water=_milli(water_c), bowl=_milli(bowl_c))
                       for at, (water_c, bowl_c) in enumerate(self.batches.pop(0), 1)))


def _milli(temp_c):
    return None if temp_c is None else round(1000 * temp_c)


def link_of(*batches, state="idle"):
    """A link to such a board, and the board."""
    fake = Bathed(batches, state)
    return Link(fake), fake

"""A programme of dark chocolate, its passes and acts, and what it reports, for its checks."""

from bainboard import settings
from bainboard.programme import Programme


def dark(**more):
    """The default chocolate, checked: 31-32 °C, target 31.5, ceiling 34.5."""
    values, why = settings.check_profile(more)
    assert why is None, why
    return values


def names(p):
    """The names of its events since the last look."""
    return [name for name, _ in p.take_events()]


def seen(p, *bowls_c):
    """The events of a bowl going through these temperatures."""
    events = []
    for n, bowl_c in enumerate(bowls_c):
        p.step(n * 1000, 33.0, bowl_c)
        events += names(p)
    return events


class Evening:
    """A programme and the second it is at."""

    def __init__(self, stage, **more):
        self.p = Programme(dark(**more), stage, 0, 0)
        self.s = 0
        self.fields = {}  # of the last event of each name

    def run(self, seconds, water_c=33.0, bowl_c=31.5, table_c=None):
        """So many passes; the events of them."""
        events = []
        for _ in range(seconds):
            self.s += 1
            self.p.table_c = table_c
            self.p.step(self.s * 1000, water_c, bowl_c)
            events += self._take()
        return events

    def act(self, name):
        """An act and its events."""
        assert self.p.act(name, self.s * 1000) == (True, "")
        return self._take()

    def _take(self):
        events = self.p.take_events()
        self.fields.update(events)
        return [name for name, _ in events]

    def refused(self, name):
        """Why an act is refused."""
        ok, why = self.p.act(name, self.s * 1000)
        assert not ok
        return why

    def place(self):
        """Where the evening is, as a person sees it."""
        p = self.p
        return p.stage, p.prompt, p.target_c, p.low_c, p.high_c, p.ceiling_c, p.limit_c, p.bowl_away, p.walled

"""A programme of dark chocolate and what it reports, for its checks."""

from bainboard import settings


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

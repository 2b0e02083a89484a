"""Lines for the log on the flash, and what is found in it, for its checks."""

import struct

from bainboard import flashlog, framing, settings

HOUR_MS = 3600000


def values(**more):
    """Settings, with some of log.* otherwise."""
    doc = {"log." + name: value for name, value in more.items()}
    checked, why = settings.check(settings.SETTINGS, doc)
    assert why is None, why
    return checked


def line(t_ms, state="hold", stage="work", fault=0, on=200, ask=""):
    """What a status line says, in its order."""
    return (1, t_ms, state, stage, 33124, 31500, 0, 31500, None, 2345, on, fault, 0, ask, 0)


def booted(folder, now_ms=0, **more):
    """A log as the board has it after its start."""
    log = flashlog.FlashLog(folder)
    log.open(values(**more), now_ms, 0)
    return log


def hold(log, seconds, from_ms=0, every=1):
    """So many seconds of a hold, the flash served whenever it is wanted; yields the number synced after each tick."""
    log.begin(from_ms, [("stage", "work")])
    log.event(from_ms, 0, "started", [])
    for tick in range(every, seconds + 1, every):
        now_ms = from_ms + 1000 * tick
        log.status(now_ms, line(1000 * tick))
        if tick % 900 == 0:
            log.event(now_ms, 1000 * tick, "inside", [])
        if log.overdue_ms(now_ms) is not None:
            log.sync(now_ms)
        yield log.synced


def kept(files):
    """Every whole frame that is found afterwards, as (sequence, entries), in order, each number once."""
    found = {}
    for name in sorted(files):
        if flashlog.first_of(name) is None:
            continue
        for kind, seq, payload, _ in framing.scan(files[name])[0]:
            if kind == flashlog.KIND:
                found[seq] = flashlog.entries(payload)
    return [(seq, found[seq]) for seq in sorted(found)]


def entries_of(files, kind):
    """Every entry of a kind."""
    return [body for _, found in kept(files) for each, body in found if each == kind]


def rows(files):
    """Times of the status entries."""
    return [struct.unpack_from(flashlog.STATUS_BODY, body)[1] for body in entries_of(files, flashlog.STATUS)]


def small(log, count, from_ms=0):
    """Fill segments fast: a long event a sync."""
    for i in range(count):
        log.event(from_ms + i, 0, "trip", [("note", "x" * 900)])
        log.sync(from_ms + i)

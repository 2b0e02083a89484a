"""Virtual time, and the talk with the supervisor that keeps the simulated warmer in step with it.

While main.py runs, time passes only through sleeps, polls and the cost of calls; at the REPL it is real time. The clock
stops exactly at the supervisor's next event and exchanges there, so that commands, faults and power cuts of a scenario
meet the firmware at the same instant in every run.
"""

import io

import _page
import uctypes
import uselect
import utime

CALL_US = 2  # a time call costs this, so that busy waits end
SPIN_CALLS = 1000  # time calls without a sleep or poll after which even a held clock moves: that is a busy wait
SHORT_US = 50000  # a sleep up to this long passes even on a held clock
FOREVER = 1 << 60
TICKS = 1 << 30
CATCH_UP_US = 50000  # pacing lost less than this is regained, more is let go
STALL_MS = 2000  # real time without progress after which a reader counts as stalled
ROOM = 512  # bytes free in the output ring for a poll to say writable

page = None
pins = None  # {use: number}
edges = out_ring = in_ring = None
now = 0
limit = FOREVER
real = False
running = False
seen = 0
spin = 0
posts = 0
outstanding = 0
flushed = 0
anchor_us = anchor_real = 0
real_us = real_ticks = 0
buttons = 0
on_buttons = None  # called when buttons changed
_to = _from = _wake = _wake_poll = None
_one = bytearray(1)


def open_page(address, to_fd, from_fd, wake_fd):
    """Attach to the shared page and the pipes."""
    global page, edges, out_ring, in_ring, now, running, flushed, buttons, _to, _from, _wake, _wake_poll
    fields = {}
    for name, (at, count, double) in _page.offsets()[0].items():
        kind = uctypes.FLOAT64 if double else uctypes.INT64
        fields[name] = at | kind if count == 1 else (at | uctypes.ARRAY, count | kind)
    page = uctypes.struct(address, fields)
    at_edges, at_out, at_in, at_flash, size = _page.areas()
    edges = uctypes.struct(address + at_edges, {"w": (0 | uctypes.ARRAY, 2 * _page.EDGES | uctypes.INT64)}).w
    out_ring = uctypes.bytearray_at(address + at_out, _page.OUT_BYTES)
    in_ring = uctypes.bytearray_at(address + at_in, _page.IN_BYTES)
    now = page.now_us
    running = bool(page.running)
    flushed = page.out_head
    buttons = page.buttons
    _to, _from, _wake = io.open(to_fd, "wb"), io.open(from_fd, "rb"), io.open(wake_fd, "rb")
    _wake_poll = uselect.poll()
    _wake_poll.register(_wake, uselect.POLLIN)
    _anchor()
    _refresh()
    return uctypes.bytearray_at(address + at_flash, size - at_flash)


# -- talking to the supervisor --------------------------------------------------------------------------------------


def post(kind):
    """Tell the supervisor something at this instant; the reply, if any, is waited for in `settle`."""
    global posts
    page.now_us = now
    page.post_us[posts & 15] = now
    posts += 1
    _to.write(kind)


def ask(kind):
    """Post what will be replied to, without waiting."""
    global outstanding
    if outstanding >= 8:
        settle()
    post(kind)
    outstanding += 1


def settle():
    """Wait for every reply still due."""
    global outstanding
    while outstanding:
        if not _from.readinto(_one):
            raise SystemExit  # the supervisor is gone
        outstanding -= 1
    _refresh()


def exchange():
    """Let the supervisor bring the warmer to this instant and apply what is due."""
    ask(b"x")
    settle()


def halt(kind):
    """The interpreter ends here: reset, watchdog or power cut. The supervisor kills it, so nothing can catch this."""
    settle()
    post(kind)
    while _from.readinto(_one):
        pass
    raise SystemExit


def _refresh():
    global limit, buttons
    limit = page.next_event_us
    watchdog = page.watchdog_us
    if watchdog and watchdog < limit and not real:
        limit = watchdog
    if page.buttons != buttons:
        before, buttons = buttons, page.buttons
        if on_buttons:
            on_buttons(before, buttons)


def edge(word):
    """Record the outputs' new state."""
    head = page.edge_head
    if head - page.edge_tail >= _page.EDGES:
        exchange()
    at = 2 * (head % _page.EDGES)
    edges[at] = now
    edges[at + 1] = word
    page.edge_head = head + 1


def _attend():
    """Look at what the supervisor changed."""
    global seen, running, now
    seen = page.notices
    if page.interrupt:
        page.interrupt = 0
        raise KeyboardInterrupt
    if page.arm_wanted:
        page.arm_wanted = 0
        if not real:
            # A canonical instant: how often we were woken before it leaves no trace.
            now = page.boot_us + ((now - page.boot_us) // 1000000 + 1) * 1000000
        ask(b"a")
        settle()
    if page.exchange_wanted:
        exchange()
    if bool(page.running) != running:
        running = bool(page.running)
        post(b"h")
    _anchor()


def _anchor():
    global anchor_us, anchor_real
    anchor_us, anchor_real = now, utime.ticks_us()


def _cross():
    """Time has come to a limit: an event of the supervisor's, or the watchdog's bite."""
    if page.watchdog_us and now >= page.watchdog_us and not real:
        halt(b"w")
    while now >= page.next_event_us:
        exchange()


# -- time passing -----------------------------------------------------------------------------------------------------


def stamp():
    """Virtual microseconds now: one time call."""
    global now, spin
    # On a held clock the supervisor's wishes wait for the next rest: there, and nowhere else, the firmware is at the same
    # point of its loop in every run. A busy wait would never rest, so its end is an exception.
    if page.notices != seen and (running or real or page.interrupt or spin > SPIN_CALLS):
        _attend()
    if real:
        now = real_us + utime.ticks_diff(utime.ticks_us(), real_ticks)
    elif running:
        now += CALL_US
    else:
        spin += 1
        if spin > SPIN_CALLS:
            now += CALL_US
    if now >= limit:
        _cross()
    return now


def charge(us):
    """Time spent inside a call that does not return meanwhile (a bus, the flash)."""
    global now
    if not real:
        now += us


def rest(ms):
    """Block in real time until a notice comes; -1: without end."""
    flush()
    page.now_us = now
    page.resting = 1
    if page.notices == seen and _wake_poll.poll(ms):
        _wake.readinto(_one)
    page.resting = 0


def flush():
    """Tell the supervisor of output it may not have seen."""
    global flushed
    head = page.out_head
    if head != flushed:
        flushed = head
        post(b"o")


def input_waits():
    """Has the host written something main.py has not read?"""
    return page.in_head != page.in_tail


def pass_until(target, for_input=False):
    """Let time pass until then; with `for_input`, at most until the host writes."""
    global now, spin
    spin = 0
    if real:
        return _pass_real(target, for_input)
    while now < target and not (for_input and page.in_head != page.in_tail):
        if not running and not for_input and target - now <= SHORT_US:
            now = target
            break
        if page.notices != seen:
            _attend()
            continue
        if not running:
            if not for_input and input_waits():
                now = target
            else:
                rest(-1)
            continue
        stop = target if target < limit else limit
        if stop >= FOREVER:
            rest(-1)
            continue
        if page.speed and not _pace(stop):
            continue
        now = stop
        if now >= limit:
            _cross()
    page.now_us = now


def _pace(stop):
    """Hold back until real time allows `stop`; False when a notice came first."""
    global now
    while True:
        speed = page.speed
        left = anchor_real + (stop - anchor_us) / speed - utime.ticks_us()
        if left < 1000:
            if left < -CATCH_UP_US:
                _anchor_at(stop)
            return True
        rest(int(left) // 1000)
        if page.notices != seen:
            reached = anchor_us + int((utime.ticks_us() - anchor_real) * speed)
            now = min(stop, max(now, reached))
            return False


def _anchor_at(us):
    global anchor_us, anchor_real
    anchor_us, anchor_real = us, utime.ticks_us()


def _pass_real(target, for_input):
    while stamp() < target and not (for_input and input_waits()):
        if target >= FOREVER:
            rest(-1)
        else:
            rest((target - now + 999) // 1000)


def go_real():
    """main.py has ended: from here on time is real time."""
    global real, real_us, real_ticks
    settle()
    flush()
    real, real_us, real_ticks = True, now, utime.ticks_us()
    post(b"e")
    _refresh()


# -- output room --------------------------------------------------------------------------------------------------------


def writable():
    """Is there room in the output ring? At full speed wait for a reader who reads; never for one who stopped."""
    if _page.OUT_BYTES - (page.out_head - page.out_tail) >= ROOM:
        page.stalled = 0
        return True
    if page.speed or page.stalled:
        return False
    return await_room(ROOM, STALL_MS)


def await_room(wanted, ms):
    """Block, clock still, until so many bytes are free; False when the reader made no progress for `ms` real ones."""
    began, tail = utime.ticks_ms(), page.out_tail
    while _page.OUT_BYTES - (page.out_head - page.out_tail) < wanted:
        if page.out_tail != tail:
            began, tail = utime.ticks_ms(), page.out_tail
        left = ms - utime.ticks_diff(utime.ticks_ms(), began)
        if left <= 0:
            page.stalled = 1
            return False
        rest(left)
        if page.notices != seen:
            _attend()
    return True

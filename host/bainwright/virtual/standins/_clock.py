"""Virtual time, and the messages to the simulator that keep the simulated warmer at the same time.

While main.py runs, time passes only through sleeps, polls and the cost of calls; at the REPL it is real time. The clock
stops exactly at the simulator's next event for an exchange. So the commands, faults and power cuts of a scenario reach
the firmware at the same virtual time in every run.
"""

import _shared
import uctypes
import uselect
import utime

CALL_US = 2  # cost of a time call, so that busy waits end
SPIN_CALLS = 1000  # after this many time calls without a sleep or poll even a held clock moves: it is a busy wait
SHORT_US = 50000  # a sleep of up to this passes even on a held clock
FOREVER = 1 << 60
TICKS = 1 << 30
CATCH_UP_US = 50000  # pacing regains a delay of up to this, and drops a longer one
STALL_MS = 2000  # a reader without progress for this real time counts as stalled
ROOM = 512  # bytes free in the output ring for a poll to say writable

LOW = 0xFFFFFFFF  # the simulator's counters are compared by their low halves

shared = None
pins = None  # {use: number}
platform = machine = ""  # sys.platform and the board's name
byte_us = request_us = 0  # what it takes to read a byte from the host, and to do what a line asks
before_wait = None  # called before each wait with the time it ends, if collections take time
edges = out_ring = in_ring = None
now = 0
limit = FOREVER
boot_us = watchdog_us = 0
edge_head = out_head = in_tail = 0  # ours; the shared memory has copies
speed = 0.0
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
_to = _from = _wake = _wake_poll = _post_us = None
_one = bytearray(1)


def _fields():
    """The shared memory's table for uctypes; the halves of a wide field are extra fields."""

    class Fields:  # attributes, because their names are interned: computed keys are slow
        pass

    for name, (at, count, form) in _shared.offsets().items():
        kind = {_shared.DOUBLE: uctypes.FLOAT64, _shared.WIDE: uctypes.INT64, _shared.BYTE: uctypes.UINT8}.get(
            form, uctypes.INT32)
        setattr(Fields, name, at | kind if count == 1 else (at | uctypes.ARRAY, count | kind))
        if form == _shared.WIDE and count == 1:
            setattr(Fields, name + "_low", at | uctypes.INT32)
            setattr(Fields, name + "_high", (at + 4) | uctypes.INT32)
    return Fields.__dict__


def wide(name):
    """A wide field as a small integer: read in one piece it would be a big integer, which is slow."""
    return getattr(shared, name + "_high") << 32 | getattr(shared, name + "_low") & LOW


def open_memory(address, to_fd, from_fd, wake_fd):
    """Attach to the shared memory and the pipes."""
    global shared, edges, out_ring, in_ring, now, running, flushed, buttons, speed
    global boot_us, watchdog_us, edge_head, out_head, in_tail, _to, _from, _wake, _wake_poll, _post_us
    shared = uctypes.struct(address, _fields())
    at_edges, at_out, at_in, at_flash, size = _shared.areas()
    edges = uctypes.struct(address + at_edges, {"w": (0 | uctypes.ARRAY, 2 * _shared.EDGES | uctypes.INT64)}).w
    out_ring = uctypes.bytearray_at(address + at_out, _shared.OUT_BYTES)
    in_ring = uctypes.bytearray_at(address + at_in, _shared.IN_BYTES)
    _post_us = shared.post_us
    now, boot_us, watchdog_us = wide("now_us"), wide("boot_us"), wide("watchdog_us")
    edge_head, out_head, in_tail = wide("edge_head"), wide("out_head"), wide("in_tail")
    running, buttons, flushed = bool(shared.running), shared.buttons, out_head
    _to, _from, _wake = [
        open(fd, mode) for fd, mode in ((to_fd, "wb"), (from_fd, "rb"), (wake_fd, "rb"))]  # noqa: SIM115 - never closed
    _wake_poll = uselect.poll()
    _wake_poll.register(_wake, uselect.POLLIN)
    _anchor()
    _refresh()
    _report_state()
    return uctypes.bytearray_at(address + at_flash, size - at_flash)


# -- messages to the simulator ----------------------------------------------------------------------------------------


def post(kind):
    """Send the simulator a message with this virtual time; `settle` waits for the reply, if there is one."""
    global posts
    shared.now_us = now
    _post_us[posts & 15] = now
    posts += 1
    _to.write(kind)


def ask(kind):
    """Send a message that has a reply, without waiting for it."""
    global outstanding
    if outstanding >= 8:
        settle()
    post(kind)
    outstanding += 1


def settle():
    """Wait for every reply that is due."""
    global outstanding
    while outstanding:
        if not _from.readinto(_one):
            raise SystemExit  # the simulator is gone
        outstanding -= 1
    _refresh()


def exchange():
    """Let the simulator bring the warmer to this time and apply what is due."""
    ask(b"x")
    settle()


def halt(kind):
    """End the interpreter: reset, watchdog or power cut. The simulator kills it, so no code can catch this."""
    settle()
    post(kind)
    while _from.readinto(_one):
        pass
    raise SystemExit


def _refresh():
    global limit, buttons
    limit = shared.next_event_us_high << 32 | shared.next_event_us_low & LOW
    if watchdog_us and watchdog_us < limit and not real:
        limit = watchdog_us
    if shared.buttons != buttons:
        before, buttons = buttons, shared.buttons
        if on_buttons:
            on_buttons(before, buttons)


def edge(word):
    """Record the outputs' new state."""
    global edge_head
    if (edge_head - shared.edge_tail_low) & LOW >= _shared.EDGES:
        exchange()
    at = 2 * (edge_head % _shared.EDGES)
    edges[at] = now
    edges[at + 1] = word
    edge_head += 1
    shared.edge_head = edge_head


def _attend():
    """Handle what the simulator changed."""
    global seen, running, now
    seen = shared.notices
    if shared.interrupt:
        shared.interrupt = 0
        raise KeyboardInterrupt
    if shared.arm_wanted:
        shared.arm_wanted = 0
        if not real:
            # A whole second, so that the number of wake-ups before it has no effect.
            now = boot_us + ((now - boot_us) // 1000000 + 1) * 1000000
        ask(b"a")
        settle()
    if shared.exchange_wanted:
        exchange()
    if bool(shared.running) != running or not running:  # a hold too short to run in is answered too
        running = bool(shared.running)
        _report_state()
    _anchor()


def _report_state():
    post(b"g" if running else b"h")


def _anchor():
    global speed
    speed = shared.speed
    _anchor_at(now)


def _cross():
    """Handle a limit that time has reached: the simulator's next event, or the watchdog."""
    if watchdog_us and now >= watchdog_us and not real:
        halt(b"w")
    while now >= wide("next_event_us"):
        exchange()


# -- time passing -----------------------------------------------------------------------------------------------------


def stamp():
    """Virtual microseconds now: one time call."""
    global now, spin
    # On a held clock the user's commands wait for the next rest: only there is the firmware at the same point of its
    # loop in every run. A busy wait never rests, so it is an exception.
    if shared.notices != seen and (running or real or shared.interrupt or spin > SPIN_CALLS):
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
    """Add time spent inside a call, on a bus or the flash."""
    global now
    if not real:
        now += us


def rest(ms):
    """Block in real time until a notice comes; -1: without limit."""
    flush()
    shared.now_us = now
    shared.resting = 1
    if shared.notices == seen and _wake_poll.poll(ms):
        _wake.readinto(_one)
    shared.resting = 0


def flush():
    """Report output to the simulator."""
    global flushed
    if out_head != flushed:
        flushed = out_head
        post(b"o")


def input_waits():
    """Whether the host has written something that main.py has not read."""
    return (shared.in_head_low ^ in_tail) & LOW != 0


def pass_until(target, for_input=False):
    """Let time pass until `target`; with `for_input`, at most until the host writes."""
    global now, spin
    spin = 0
    if real:
        _pass_real(target, for_input)
        return
    if before_wait:
        before_wait(target)
    while now < target and not (for_input and input_waits()):
        if not running and not for_input and target - now <= SHORT_US:
            now = target
            break
        if shared.notices != seen:
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
        if speed and not _pace(stop):
            continue
        now = stop
        if now >= limit:
            _cross()
    shared.now_us = now


def _pace(stop):
    """Wait until real time reaches `stop`; False when a notice came first."""
    global now
    while True:
        left = anchor_real + (stop - anchor_us) / speed - utime.ticks_us()
        if left < 1000:
            if left < -CATCH_UP_US:
                _anchor_at(stop)
            return True
        rest(int(left) // 1000)
        if shared.notices != seen:
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
    """main.py has ended: time is real from here on."""
    global real, real_us, real_ticks
    settle()
    flush()
    real, real_us, real_ticks = True, now, utime.ticks_us()
    post(b"e")
    _refresh()


# -- output room ------------------------------------------------------------------------------------------------------


def out_room():
    """Bytes free in the output ring."""
    return _shared.OUT_BYTES - ((out_head - shared.out_tail_low) & LOW)


def wrote(size):
    """Count bytes put into the output ring."""
    global out_head
    out_head += size
    shared.out_head = out_head


def took(size):
    """Count bytes taken from the input ring."""
    global in_tail
    in_tail += size
    shared.in_tail = in_tail


def watch(us):
    """Set when the watchdog resets the board."""
    global watchdog_us, limit
    shared.watchdog_us = watchdog_us = us
    limit = shared.next_event_us_high << 32 | shared.next_event_us_low & LOW
    if us < limit:
        limit = us


def writable():
    """Whether the output ring has room. At full speed it waits for the reader, but not for one that has stopped."""
    if out_room() >= ROOM:
        shared.stalled = 0
        return True
    if speed or shared.stalled:
        return False
    return await_room(ROOM, STALL_MS)


def await_room(wanted, ms):
    """Block, clock stopped, until `wanted` bytes are free; False if the reader makes no progress for `ms` real ms."""
    began, tail = utime.ticks_ms(), shared.out_tail_low
    while out_room() < wanted:
        if shared.out_tail_low != tail:
            began, tail = utime.ticks_ms(), shared.out_tail_low
        left = ms - utime.ticks_diff(utime.ticks_ms(), began)
        if left <= 0:
            shared.stalled = 1
            return False
        rest(left)
        if shared.notices != seen:
            _attend()
    return True

"""The board's own log on its flash: entries collect in memory and are written as one frame at each sync.

A sync adds one frame to the end of a segment, on littlefs in one commit: after a power cut it is whole or absent.
No flash error is raised from here: a log that cannot be written is reported once, and the hold continues.
"""

import struct

from bainboard import framing, wire

KIND = 16  # frame kind of the log
SEGMENT_BYTES = 16384  # chosen: the unit that is deleted; a night fills about nine
BUFFER_BYTES = 1024  # chosen: minutes of status lines; a heap in use for a while has few longer free runs
EARLY_SYNC_BYTES = 512  # half full: written early
FULL = 28  # ENOSPC; a port's errno module has no name for it
RETRY_MS = 60000  # after a write fails, the next try waits this long
LOOK_BYTES = 256  # after damage, a reader searches for the next frame in pieces of this size

# Entries of a frame's payload: kind u8, length u16, body; little-endian.
ENTRY = "<BH"
ORIGIN, STATUS, EVENT, HOLD = 1, 2, 3, 4
ORIGIN_BODY = "<HIIIB"  # boot u16, hold u32, up_ms u32, wall_s u32 (0 unknown), source of the wall time u8
STATUS_BODY = "<IIBBHHHHHHBIB"  # up_ms, t_ms, state, stage, four temperatures, duty, on_ms, fault, warn, estimated; ask
EVENT_BODY = "<II"  # up_ms, t_ms; then JSON text
ORIGIN_BYTES = 15
FRONT = framing.HEAD_BYTES + 3 + ORIGIN_BYTES  # bytes before the first entry in a segment's first frame
NOBODY, RTC, HOST = 0, 1, 2

# Numbers of these names never change their meaning; new ones go to the end.
STATES = ("idle", "check", "hold", "pause", "off", "trip")
STAGES = ("", "melt", "seed", "settle", "test", "work", "rest", "melted", "tune", "change", "cool")
UNKNOWN = 255

NO_TEMP = 0xFFFF
TEMP_STEP, TEMP_LOW = 2, -20000  # thousandths of a °C: steps of 0.002 from -20 °C, so to 111 °C

URGENT = ("started", "trip", "ended", "cleared")  # events written to the flash at once
NO_MEMORY = "no memory"
TRIP_SLOWER = 10  # a board left latched for a week must not overwrite the night of the trip


def temp_code(milli: int | None) -> int:
    """Thousandths of a °C, or None, as two bytes."""
    return NO_TEMP if milli is None else max(0, min(NO_TEMP - 1, (milli - TEMP_LOW) // TEMP_STEP))


def entries(payload: bytes) -> list:
    """(kind, body) of each entry of a frame's payload."""
    found, at = [], 0
    while at + 3 <= len(payload):
        kind, length = struct.unpack_from(ENTRY, payload, at)
        found.append((kind, bytes(payload[at + 3 : at + 3 + length])))
        at += 3 + length
    return found


def unix_s(year: int, month: int, day: int, hour: int, minute: int, second: int) -> int:
    """Seconds since 1970 of a date; the ports' own mktime functions count from different years."""
    if month <= 2:  # years begin in March here: the leap day is their last
        year, month = year - 1, month + 12
    days = 365 * year + year // 4 - year // 100 + year // 400 + (153 * month - 457) // 5 + day
    return ((days - 719469) * 24 + hour) * 3600 + minute * 60 + second


def segment_name(first: int) -> str:
    """The file of the segment that begins with this sequence number."""
    return f"{first:010d}.seg"


def first_of(name: str) -> int | None:
    """The first sequence number of a segment's file, or None for a file that is no segment."""
    return int(name[:10]) if len(name) == 14 and name[10:] == ".seg" and name[:10].isdigit() else None


def frames(folder, name: str, size: int):
    """(sequence, payload, end) of each whole frame of a segment; damaged bytes are skipped."""
    at = 0
    while at < size:
        head = folder.read(name, at, framing.HEAD_BYTES)
        frame = None
        if len(head) == framing.HEAD_BYTES and head[:2] == framing.MAGIC:
            frame = framing.read(folder.read(name, at, framing.OVERHEAD + head[7] + 256 * head[8]))
        if frame is not None and frame[0] == KIND:
            at += frame[3]
            yield frame[1], frame[2], at
        else:
            piece = folder.read(name, at, LOOK_BYTES)
            found = piece.find(framing.MAGIC, 1)
            at += found if found > 0 else max(1, len(piece) - 1)


class FlashLog:
    """Segments of frames; the oldest is deleted to make room for the newest. `overdue_ms` says when to call `sync`."""

    def __init__(self, folder) -> None:
        self._folder = folder
        self._firsts: list = []  # of the segments, oldest first
        self._sizes: list = []
        self._frame = bytearray(FRONT + BUFFER_BYTES + 4)
        self._used = FRONT
        self._seq = 1  # of the next frame
        self._fresh = True  # the next frame begins a segment
        self._skipped = False  # entries were dropped: the next frame skips a number, so that the gap shows
        self.due_ms: int | None = None
        self._doomed = 0  # segments that end at this number or before may be deleted
        self._total = 0  # bytes of the flash
        self._known = False  # the flash has been read; nothing may be written before that
        self._on_ms = 0
        self._logged_ms: int | None = None  # when the last status was logged, in the hold's time
        self._fault = 0
        self._clock = (0, 0, NOBODY)  # up_ms, wall_s, source
        self.boot = self.hold = 0
        self.synced = 0  # the newest sequence number known to be on the flash
        self.trouble = ""

    def set(self, values: dict) -> None:
        """Take the settings."""
        self._status_ms = values["log.status_s"] * 1000
        self._sync_ms = values["log.sync_s"] * 1000
        self._most = max(2 * SEGMENT_BYTES, int(self._total * values["log.share"]))

    def open(self, values: dict, now_ms: int, wall_s: int) -> None:
        """Find the stored segments and continue after them. `wall_s`: the board's own clock, 0 for none."""
        try:
            self._look()
        except OSError as error:
            self._give_up(error, now_ms)
        self.set(values)
        if wall_s:
            self._clock = (now_ms, wall_s, RTC)
        self._add(ORIGIN, self._origin(now_ms), now_ms)

    def _look(self) -> None:
        self._firsts = sorted([first for first in map(first_of, self._folder.names()) if first is not None])
        self._sizes = [self._folder.size(segment_name(first)) for first in self._firsts]
        self._seq = self._firsts[-1] if self._firsts else 1
        for i in range(len(self._firsts) - 1, -1, -1):
            if self._resume(i):
                break
        if self._firsts and self._firsts[-1] >= self._seq:
            # Nothing in a segment without a whole frame was ever acknowledged: its file is begun again.
            self._seq = self._firsts.pop()
            self._sizes.pop()
            self._fresh = True
        self._total = self._folder.total()
        self.boot = (self.boot + 1) % 65536
        self._known = True

    def _resume(self, i: int) -> bool:
        """Continue the numbers of a segment's last whole frame; False when it has none."""
        whole = 0  # bytes up to the end of the last whole frame
        for seq, payload, end in frames(self._folder, segment_name(self._firsts[i]), self._sizes[i]):
            self._seq, self.synced, whole = max(self._seq, seq + 1), seq, end
            for kind, body in entries(payload):
                if kind == ORIGIN and len(body) == ORIGIN_BYTES:
                    self.boot, self.hold = struct.unpack(ORIGIN_BODY, body)[:2]
        # A port's file has no truncate, and a power cut could spoil a copy too. So a torn tail stays where it is, after
        # the last whole frame, where every reader stops; writing continues in a new segment.
        self._fresh = whole != self._sizes[i]
        return whole > 0

    # -- what is logged -----------------------------------------------------------------------------------------------

    def status(self, now_ms: int, line: tuple) -> None:
        """Take the status line's values, each tick; they are logged when an interval is over."""
        t_ms, state, stage, fault = line[1], line[2], line[3], line[11]
        self._on_ms += line[10]
        if not stage:
            self._logged_ms, self._on_ms, self._fault = None, 0, fault
            return
        every_ms = self._status_ms * (TRIP_SLOWER if state == "trip" else 1)
        # Half a tick of grace: a late tick must not turn ten seconds into eleven.
        if self._logged_ms is None or t_ms - self._logged_ms > every_ms - 500 or fault != self._fault:
            self._logged_ms, self._fault = t_ms, fault
            self._add(STATUS, self._status_body(now_ms, line), now_ms)
            self._on_ms = 0

    def _status_body(self, now_ms: int, line: tuple) -> bytes:
        _, t_ms, state, stage, water, bowl, estimated, target, water_target, duty, _, fault, warn, ask, _ = line
        return struct.pack(
            STATUS_BODY, now_ms & 0xFFFFFFFF, t_ms,
            STATES.index(state) if state in STATES else UNKNOWN, STAGES.index(stage) if stage in STAGES else UNKNOWN,
            temp_code(water), temp_code(bowl), temp_code(target), temp_code(water_target),
            duty, min(65535, self._on_ms), fault, warn, estimated) + ask.encode()

    def event(self, now_ms: int, t_ms: int, name: str, pairs: list) -> None:
        """Something happened."""
        text = wire.text([("event", name)] + pairs).encode()
        self._add(EVENT, struct.pack(EVENT_BODY, now_ms & 0xFFFFFFFF, t_ms) + text, now_ms)
        if name in URGENT:
            self._request_sync(now_ms)

    def begin(self, now_ms: int, pairs: list) -> None:
        """A hold begins; `pairs` are its options."""
        self.hold += 1
        self._add(ORIGIN, self._origin(now_ms), now_ms)
        self._add(HOLD, wire.text([("hold", self.hold)] + pairs).encode(), now_ms)
        self._logged_ms = None

    def set_clock(self, now_ms: int, wall_s: int) -> None:
        """Take the time of day from the host."""
        if self._clock[2] != HOST or abs(self.wall_s(now_ms) - wall_s) > 1:
            self._clock = (now_ms, wall_s, HOST)
            self._add(ORIGIN, self._origin(now_ms), now_ms)

    def wall_s(self, now_ms: int) -> int:
        """Seconds since 1970, from whatever source gave the time; 0 when none has."""
        at_ms, wall_s, who = self._clock
        return wall_s + (now_ms - at_ms) // 1000 if who else 0

    def _origin(self, now_ms: int) -> bytes:
        return struct.pack(
            ORIGIN_BODY, self.boot, self.hold, now_ms & 0xFFFFFFFF, self.wall_s(now_ms), self._clock[2])

    def _add(self, kind: int, body: bytes, now_ms: int) -> None:
        frame, at = self._frame, self._used
        if at + 3 + len(body) > FRONT + BUFFER_BYTES:
            self._skipped = True
            return
        if at == FRONT:  # a segment begins with the origin as of its first entry
            struct.pack_into(ENTRY, frame, framing.HEAD_BYTES, ORIGIN, ORIGIN_BYTES)
            frame[FRONT - ORIGIN_BYTES : FRONT] = self._origin(now_ms)
        struct.pack_into(ENTRY, frame, at, kind, len(body))
        self._used = at + 3 + len(body)
        frame[at + 3 : self._used] = body
        if self.due_ms is None:
            self.due_ms = now_ms + self._sync_ms
        if self._used > FRONT + EARLY_SYNC_BYTES:
            self._request_sync(now_ms)

    def _request_sync(self, now_ms: int) -> None:
        if not self.trouble:
            self.due_ms = now_ms if self.due_ms is None else min(self.due_ms, now_ms)

    # -- the flash ----------------------------------------------------------------------------------------------------

    def overdue_ms(self, now_ms: int) -> int | None:
        """How long entries have been due for writing; None when none are."""
        return None if self.due_ms is None or now_ms < self.due_ms else now_ms - self.due_ms

    def sync(self, now_ms: int) -> None:
        """Do one thing on the flash: write a frame, or delete a segment."""
        try:
            if not self._known:
                self._look()
            if self._used > FRONT:
                self._write_frame()
            elif self._may_drop():
                self._drop()
            self.trouble = ""
            self.due_ms = now_ms if self._may_drop() else None
        except OSError as error:
            self._fresh = True  # the end of the segment is now unknown
            if not (error.args[0] == FULL and self._make_room(now_ms)):
                self._give_up(error, now_ms)
        except MemoryError:  # no free run is long enough now; the entries wait for one
            self.trouble = NO_MEMORY
            self.due_ms = now_ms + RETRY_MS

    def flush(self, now_ms: int) -> None:
        """Write everything to the flash now, before the firmware ends."""
        if self._used > FRONT:
            self.sync(now_ms)

    def _write_frame(self) -> None:
        """Write the collected entries to the flash as one frame."""
        fresh = self._fresh or not self._firsts or self._sizes[-1] + self._used > SEGMENT_BYTES
        if self._skipped:
            self._seq += 1
            self._skipped = False
        start = 0 if fresh else FRONT - framing.HEAD_BYTES  # only a segment's first frame has the origin
        frame = framing.seal(self._frame, start, self._used, KIND, self._seq)
        if fresh:
            self._begin_segment(frame)
        else:
            self._folder.append(segment_name(self._firsts[-1]), frame)
            self._sizes[-1] += len(frame)
        self._folder.sync()
        self.synced = self._seq
        self._seq += 1
        self._used = FRONT

    def _begin_segment(self, frame: memoryview) -> None:
        for _ in range(2):  # two deleted for one written: a share made smaller is reached after a while
            if len(self._firsts) > 1 and sum(self._sizes) + SEGMENT_BYTES > self._most:
                self._drop()
        self._folder.write(segment_name(self._seq), frame)
        self._firsts.append(self._seq)
        self._sizes.append(len(frame))
        self._fresh = False

    def _drop(self) -> None:
        """Delete the oldest segment."""
        self._folder.remove(segment_name(self._firsts[0]))
        self._firsts.pop(0)
        self._sizes.pop(0)

    def _make_room(self, now_ms: int) -> bool:
        """The flash is full: delete the oldest segment, so that the sync is tried again. False when there is none."""
        if len(self._firsts) < 2:
            return False
        try:
            self._drop()
        except OSError:  # not even a delete works: `sync` reports why it could not write
            return False
        self.due_ms = now_ms
        return True

    def _give_up(self, error: OSError, now_ms: int) -> None:
        """Drop the collected entries and try the flash again later."""
        self.trouble = "the flash is full" if error.args[0] == FULL else f"the flash gave error {error.args[0]}"
        self._used = FRONT
        self._skipped = True
        self.due_ms = now_ms + RETRY_MS

    # -- what the host reads ------------------------------------------------------------------------------------------

    def segment(self, after: int) -> tuple | None:
        """(first, last, size, CRC-32, how many follow) of the first segment that begins after a number, or None."""
        for i, first in enumerate(self._firsts):
            if first > after:
                following = len(self._firsts) - 1 - i
                last = self._firsts[i + 1] - 1 if following else self.synced
                crc = self._folder.crc(segment_name(first), bytearray(LOOK_BYTES))
                return first, last, self._sizes[i], crc, following
        return None

    def read(self, first: int, at: int, count: int) -> bytes | None:
        """Bytes of a segment, or None where there are none."""
        if first not in self._firsts:
            return None
        size = self._sizes[self._firsts.index(first)]
        return self._folder.read(segment_name(first), at, min(count, size - at)) if 0 <= at < size else None

    def forget(self, through: int, now_ms: int) -> int:
        """Delete the segments that end at a number or before, except the newest. Returns how many."""
        self._doomed = through
        if self._may_drop():
            self._request_sync(now_ms)
        return len([first for first in self._firsts[1:] if first - 1 <= through])

    def _may_drop(self) -> bool:
        return len(self._firsts) > 1 and self._firsts[1] - 1 <= self._doomed

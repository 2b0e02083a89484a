"""The memory shared by the board's interpreter and its simulator: one table, read by both.

Rings are byte or word areas behind the fields; their head and tail count for ever and are taken modulo the size.
"""

# A 64-bit word is a new object to MicroPython whenever it reads one, so what it reads all the time is NARROW, and of a
# wide counter it reads the low half.
WIDE, NARROW, DOUBLE, BYTE = "q", "i", "d", "B"

# name, count, form
FIELDS = (
    # written by the simulator
    ("next_event_us", 1, WIDE),  # virtual time stops exactly here for an exchange
    ("boot_us", 1, WIDE),  # ticks count from here (last hard reset)
    ("rom", 2, WIDE),  # 1-wire ids, little-endian
    ("speed", 1, DOUBLE),  # simulated over real seconds; 0: as fast as it goes
    ("notices", 1, NARROW),  # grows when the interpreter should look at the fields below
    ("interrupt", 1, NARROW),  # Ctrl-C came; the interpreter clears it
    ("running", 1, NARROW),  # may virtual time pass?
    ("arm_wanted", 1, NARROW),
    ("exchange_wanted", 1, NARROW),
    ("reset_cause", 1, NARROW),
    ("buttons", 1, NARROW),  # bits: 1 yes, 2 no, 4 recessed
    ("bus", 1, NARROW),  # 1-wire line: 0 sound, 1 held low, 2 nobody answers
    ("kind", 2, NARROW),  # probe kinds (water, bowl): 0 none, 1 1-wire, 2 NTC, 3 platinum
    ("status", 2, NARROW),  # probes: 0 sound, 1 absent, 2 as at power-on, 3 garbles what it says
    ("reading", 2, NARROW),  # 1-wire: sixteenths of a degree; NTC, platinum: the converter's word
    ("display_fitted", 1, NARROW),  # is there a display?
    ("float_wet", 1, NARROW),  # does the float close its circuit?
    # written by the interpreter
    ("now_us", 1, WIDE),
    ("post_us", 16, WIDE),  # virtual times of the last posts, by post number modulo 16
    ("watchdog_us", 1, WIDE),  # virtual time at which it bites; 0: not started
    ("interrupt_char", 1, NARROW),  # micropython.kbd_intr
    ("stalled", 1, NARROW),  # the reader stopped reading
    ("resting", 1, NARROW),  # blocked until a notice comes
    # kept over resets
    ("rtc_us", 1, WIDE),  # clock of the day minus virtual time
    ("scratch", 2, NARROW),  # what each 1-wire probe's scratchpad holds, sixteenths of a degree
    ("fresh", 2, NARROW),  # 1: scratchpad is as at power-on
    ("pins", 48, NARROW),  # output levels
    ("display_state", 1, NARROW),  # the display: bits of DISPLAY_ON and so on
    ("display", 1024, BYTE),  # its picture: eight rows of 128 columns of eight pixels, the lowest bit on top
    ("flash_erases", 1, NARROW),
    ("flash_operations", 1, NARROW),
    ("flash_cut_at", 1, NARROW),  # number of the operation the power fails in; 0: never
    ("flash_cut_torn", 1, NARROW),  # 1: half of that operation was done
    # rings: edges and output from the interpreter, input to it
    ("edge_head", 1, WIDE),
    ("edge_tail", 1, WIDE),
    ("out_head", 1, WIDE),
    ("out_tail", 1, WIDE),
    ("in_head", 1, WIDE),
    ("in_tail", 1, WIDE),
)

EDGES = 512  # of two words: virtual time, outputs
OUT_BYTES = 16384
IN_BYTES = 4096
FLASH_BLOCK = 4096
FLASH_BLOCKS = 352  # what an RP2040 board's 2 MB leave to files

# An edge's second word: level of the heater switch (0..65535) << 8, and these bits.
GUARD_BIT = 1
BEAT_BIT = 2  # the heartbeat pin changed

DISPLAY_ON, DISPLAY_PUMP, DISPLAY_MIRRORED, DISPLAY_FLIPPED, DISPLAY_INVERSE = 1, 2, 4, 8, 16

WATCHDOG_CAUSE = 3  # as the rp2 port numbers them; machine.reset() reads the same
POWER_ON_CAUSE = 1


def size_of(form: str) -> int:
    """Bytes of a field's element; the form is the letter `struct` and `memoryview` know it by."""
    return {NARROW: 4, BYTE: 1}.get(form, 8)


def offsets() -> dict[str, tuple[int, int, str]]:
    """{name: (byte offset, count, form)}, each on a multiple of its size."""
    at, table = 0, {}
    for name, count, form in FIELDS:
        size = size_of(form)
        at = (at + size - 1) // size * size
        table[name] = (at, count, form)
        at += size * count
    return table


def areas() -> tuple[int, int, int, int, int]:
    """Byte offsets of the edge ring, the output ring, the input ring, the flash, and the length of it all."""
    edges = (8 * sum([count for _, count, _ in FIELDS]) + 63) // 64 * 64  # room for all, were they all wide
    out = edges + 16 * EDGES
    inp = out + OUT_BYTES
    flash = (inp + IN_BYTES + 4095) // 4096 * 4096
    return edges, out, inp, flash, flash + FLASH_BLOCK * FLASH_BLOCKS

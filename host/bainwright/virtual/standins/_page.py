"""The page shared by the board's interpreter and its supervisor: one table, read by both.

Every field is 8 bytes (a signed integer, or a double where marked), so either side can step through it in words.
Rings are byte or word areas behind the fields; their head and tail count for ever and are taken modulo the size.
"""

# name, count, is it a double?
FIELDS = (
    # written by the supervisor
    ("notices", 1, False),  # grows when the interpreter should look at the fields below
    ("interrupt", 1, False),  # Ctrl-C came; the interpreter clears it
    ("running", 1, False),  # may virtual time pass?
    ("speed", 1, True),  # simulated over real seconds; 0: as fast as it goes
    ("arm_wanted", 1, False),
    ("exchange_wanted", 1, False),
    ("next_event_us", 1, False),  # virtual time stops exactly here for an exchange
    ("boot_us", 1, False),  # ticks count from here (last hard reset)
    ("reset_cause", 1, False),
    ("buttons", 1, False),  # bits: 1 yes, 2 no, 4 recessed
    ("bus", 1, False),  # 1-wire line: 0 sound, 1 held low, 2 nobody answers
    ("kind", 2, False),  # probe kinds (water, bowl): 0 none, 1 1-wire, 2 NTC
    ("rom", 2, False),  # 1-wire ids as 64-bit words, little-endian
    ("status", 2, False),  # probes: 0 sound, 1 absent, 2 answers 85 degrees, 3 spoils its check byte
    ("reading", 2, False),  # 1-wire: sixteenths of a degree; NTC: the converter's 16-bit word
    # written by the interpreter
    ("now_us", 1, False),
    ("post_us", 16, False),  # virtual times of the last posts, by post number modulo 16
    ("interrupt_char", 1, False),  # micropython.kbd_intr
    ("watchdog_us", 1, False),  # virtual time at which it bites; 0: not started
    ("stalled", 1, False),  # the reader stopped reading
    ("resting", 1, False),  # blocked until a notice comes
    # kept over resets
    ("rtc_us", 1, False),  # clock of the day minus virtual time
    ("scratch", 2, False),  # what each 1-wire probe's scratchpad holds, sixteenths of a degree
    ("fresh", 2, False),  # 1: scratchpad is as at power-on
    ("pins", 48, False),  # output levels
    ("flash_erases", 1, False),
    ("flash_operations", 1, False),
    ("flash_cut_at", 1, False),  # number of the operation the power fails in; 0: never
    ("flash_cut_torn", 1, False),  # 1: half of that operation was done
    # rings: edges and output from the interpreter, input to it
    ("edge_head", 1, False),
    ("edge_tail", 1, False),
    ("out_head", 1, False),
    ("out_tail", 1, False),
    ("in_head", 1, False),
    ("in_tail", 1, False),
)

EDGES = 512  # of two words: virtual time, outputs
OUT_BYTES = 16384
IN_BYTES = 4096
FLASH_BLOCK = 4096
FLASH_BLOCKS = 352  # what an RP2040 board's 2 MB leave to files

# An edge's second word: level of the heater switch (0..65535) << 8, and these bits.
GUARD_BIT = 1
BEAT_BIT = 2  # the heartbeat pin changed

WATCHDOG_CAUSE = 3  # as the rp2 port numbers them; machine.reset() reads the same
POWER_ON_CAUSE = 1


def offsets():
    """{name: (byte offset, count, double?)} and the length of all fields."""
    at, table = 0, {}
    for name, count, double in FIELDS:
        table[name] = (at, count, double)
        at += 8 * count
    return table, at


def areas():
    """Byte offsets of the edge ring, the output ring, the input ring, the flash, and the page's whole length."""
    edges = (offsets()[1] + 63) // 64 * 64
    out = edges + 16 * EDGES
    inp = out + OUT_BYTES
    flash = (inp + IN_BYTES + 4095) // 4096 * 4096
    return edges, out, inp, flash, flash + FLASH_BLOCK * FLASH_BLOCKS

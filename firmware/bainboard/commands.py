"""Every request a host may make, once: its fields, their bounds, and in which states it is allowed.

There is no request that clears a latch: that is a person's act at the warmer's own button. Loaded when a request comes
that is no plain stop or pause, and dropped again: see heap_reserve.
"""

from bainboard import chunks, flashlog, stages
from bainboard.answered import COLD, ID_MAX, ident, is_whole
from bainboard.wire import shown

IDLE, CHECK, HOLD, PAUSE, OFF, TRIP = STATES = flashlog.STATES
RUNNING = (CHECK, HOLD, PAUSE, OFF)

WHOLE, WORD, TEMP, HEX, BASE64 = "whole number", "word", "number of thousandths of a °C", "hex digits", "base64"
LETTERS = "text"
NEEDED = "needed"  # in the default column: there is none

# A field: `low`/`high` bound a number, `low` lists the words of a choice or bounds a text's letters with `high`.
FIELD, KIND, LOW, HIGH, DEFAULT = range(5)

HOLD_MS = 48 * 3600 * 1000  # chosen: the longest run timer

_WHAT_IN = ("what", WORD, ("settings", "profile", "gains"), None, NEEDED)
_WHAT_OUT = ("what", WORD, ("settings", "profile"), None, NEEDED)
_OFF_ON = ("at", WORD, ("off", "on"), None, NEEDED)
_SEQ_MAX = 2**32 - 1  # a sequence number of the log
_AT = ("at", WHOLE, 0, chunks.MAX_SIZE, NEEDED)
_NAME = ("name", LETTERS, 1, 32, NEEDED)

NAME, FIELDS, ALLOWED = range(3)  # what each does: in `notes`

COMMANDS: tuple = (
    ("hello", (), STATES),
    ("start", (
        ("stage", WORD, stages.RUNNABLE, None, NEEDED),
        ("for_ms", WHOLE, 0, HOLD_MS, 0),  # 0: until stopped
        ("room", TEMP, 5000, 40000, None),
    ), (IDLE,)),
    ("stop", (), STATES),
    ("pause", (), (CHECK, HOLD, OFF)),
    ("resume", (), (PAUSE,)),
    ("bowl", (_OFF_ON,), RUNNING),
    ("announce", (
        ("in_s", WHOLE, 0, 3600, None),
        ("mass_g", WHOLE, 1, 20000, None),
        ("temp", TEMP, 0, 60000, None),
    ), RUNNING),
    ("confirm", (), (IDLE,) + RUNNING),
    ("thicker", (), RUNNING),
    ("thinner", (), RUNNING),
    ("test", (), RUNNING),
    ("finish", (("to", WORD, ("rest", "melted"), None, NEEDED),), RUNNING),
    ("back", (), RUNNING),
    ("change", (_NAME,), (HOLD, OFF, PAUSE)),
    ("profiles", (("at", WHOLE, 0, 99, 0),), STATES),
    ("use", (_NAME,), COLD),
    ("cold", (("for_ms", WHOLE, 0, 3600000, NEEDED),), (IDLE,)),
    ("silence", (), STATES),
    ("lock", (_OFF_ON,), STATES),
    ("maintenance", (), COLD),
    ("begin", (
        _WHAT_IN,
        ("size", WHOLE, 2, chunks.MAX_SIZE, NEEDED),
        ("sha256", HEX, 64, 64, NEEDED),
    ), STATES),
    ("send", (_WHAT_OUT, ("name", LETTERS, 1, 32, None)), STATES),
    ("chunk", (_AT, ("data", BASE64, 4, chunks.CHUNK // 3 * 4, None)), STATES),
    ("commit", (), STATES),
    ("bus", (("at", WHOLE, 0, 15, 0),), COLD),
    ("clock", (("wall_s", WHOLE, 1704067200, _SEQ_MAX, NEEDED),), STATES),
    ("segments", (("after", WHOLE, 0, _SEQ_MAX, 0),), STATES),
    ("read", (
        ("segment", WHOLE, 1, _SEQ_MAX, NEEDED),
        ("at", WHOLE, 0, flashlog.SEGMENT_BYTES, NEEDED),
    ), STATES),
    ("forget", (("through", WHOLE, 1, _SEQ_MAX, NEEDED),), STATES),
)
_BY_NAME = {row[NAME]: row for row in COMMANDS}


def check(msg: dict, state: str) -> tuple:
    """A whole request against the table: (name, args, None), or (name or None, None, reason)."""
    if ident(msg) is None:
        return None, None, f"id: got {shown(msg.get('id'))}, wanted a whole number from 1 to {ID_MAX}"
    row = _BY_NAME.get(msg.get("do"))
    if row is None:
        wanted = " ".join([each[NAME] for each in COMMANDS if state in each[ALLOWED]])  # all of them fill a line
        return None, None, "do: got {}, wanted {}".format(shown(msg.get("do"))[:12], wanted)
    name = row[NAME]
    args, why = _args(row[FIELDS], msg)
    if why is None:
        why = _why_not_now(row, args, state)
    return (name, args, None) if why is None else (name, None, f"{name}: {why}")


def may_store(what: str, state: str) -> str | None:
    """Why a document may not be taken in this state, or None: only gains change under a hold, without a bump."""
    if what == "gains" or state in COLD:
        return None
    return "{} are not taken in state {}, wanted {}; stop first".format(what, state, " or ".join(COLD))


def _why_not_now(row: tuple, args: dict, state: str) -> str | None:
    if state not in row[ALLOWED]:
        return "not in state {}, wanted {}".format(state, " or ".join(row[ALLOWED]))
    if row[NAME] != "begin":
        return None
    if args["what"] == "gains" and args["size"] > chunks.MAX_GAINS:
        return "size: got {}, wanted at most {} bytes of gains".format(args["size"], chunks.MAX_GAINS)
    return may_store(args["what"], state)


def _args(fields: tuple, msg: dict) -> tuple:
    """Every field checked and defaults filled in: (args, None) or (None, reason)."""
    args = {}
    for field in fields:
        name = field[FIELD]
        if name in msg:
            why = _fault(field, msg[name])
            if why:
                return None, f"{name}: got {shown(msg[name])}, {why}"
            args[name] = msg[name]
        elif field[DEFAULT] is NEEDED:
            return None, f"{name} is missing"
        else:
            args[name] = field[DEFAULT]
    for name in msg:
        if name not in args and name not in ("id", "do"):
            return None, f"{shown(name)}: no such field"
    return args, None


def _fault(field: tuple, value) -> str | None:
    """What is wrong with one value, or None."""
    kind, low, high = field[KIND], field[LOW], field[HIGH]
    if kind == WORD:
        return None if value in low else "wanted " + " or ".join(low)
    if kind in (WHOLE, TEMP):
        if is_whole(value) and low <= value <= high:
            return None
        looks = "; that looks like °F" if kind == TEMP and _fahrenheit(value, low, high) else ""
        return f"wanted a {kind} from {low} to {high}{looks}"
    if not isinstance(value, str) or not low <= len(value) <= high:
        return f"wanted {low} to {high} letters of {kind}"
    if kind == HEX and value.strip("0123456789abcdef"):
        return "wanted lower-case hex digits"
    return None  # base64 is judged where it is decoded


def _fahrenheit(value, low: int, high: int) -> bool:
    """Would it be a likely temperature if it were °F: one of the field, or one of a bowl (82 to 122 °F)?"""
    return is_whole(value) and (82000 <= value <= 122000 or low <= (value - 32000) * 5 // 9 <= high)

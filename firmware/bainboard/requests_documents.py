"""Requests about documents: transfers both ways, and the chocolates saved on the board. See `requests_hold`."""

from bainboard import commands, faults, heap_reserve, saved_profiles, settings, wire
from bainboard.documents import short_hash
from bainboard.standalone import UNKNOWN_NAME


def begin(app: object, args: dict, now_ms: int) -> tuple:
    """A document comes in."""
    return app.service.transfer.begin(args, now_ms)


def send(app: object, args: dict, now_ms: int) -> tuple:
    """A document goes out."""
    payload = app.documents.payload[args["what"]]
    if args["name"] is not None:
        payload = app.standalone.find(args["name"])
        if payload is None:
            return None, UNKNOWN_NAME
    return app.service.transfer.send(args["what"], payload, now_ms)


def chunk(app: object, args: dict, now_ms: int) -> tuple:
    """The next piece of a document, either way."""
    return app.service.transfer.chunk(args, now_ms)


def commit(app: object, args: dict, now_ms: int) -> tuple:
    """The transfer ends: check and store what came in."""
    transfer = app.service.transfer
    pairs, why = transfer.commit(now_ms)
    if why or transfer.complete is None:
        return pairs, why
    what, payload = transfer.complete
    if what == "gains":
        return _take_gains(app.warmer, payload)
    heap_reserve.release()  # for the document as text, as a frame and as it is read back
    try:
        why = commands.may_store(what, app.warmer.state) or app.documents.save(what, payload)
    except MemoryError:
        why = "no memory in one piece just now; restart the board and send it again; what was stored still holds"
    heap_reserve.retake()
    if why is None:
        app.build(app.warmer.fault if app.warmer.state == "trip" else faults.NONE)
    return pairs, why


def _take_gains(warmer: object, payload: bytes) -> tuple:
    """Gains for the running hold: a document of gains.* names over the present settings."""
    doc, why = wire.parse(payload)
    if why:
        return None, why
    if not all(name.startswith("gains.") for name in doc):
        return None, "gains: wanted names that begin with gains."
    merged = dict(warmer.values)
    merged.update(doc)
    values, why = settings.check(settings.SETTINGS, merged)
    if why:
        return None, why
    warmer.set_gains(values)
    return [], None


def profiles(app: object, args: dict, now_ms: int) -> tuple:
    """One of the saved chocolates; behind the last, how many there are."""
    payload = app.documents.saved.at(args["at"])
    if payload is None:
        return [("count", app.documents.saved.count())], None
    return [("name", saved_profiles.name_of(payload)), ("profile", short_hash(payload))], None


def use(app: object, args: dict, now_ms: int) -> tuple:
    """Start with this saved chocolate from now on."""
    return [], app.standalone.use(app.standalone.find(args["name"]), now_ms)


def change(app: object, args: dict, now_ms: int) -> tuple:
    """The next bowl is of this saved chocolate."""
    payload = app.standalone.find(args["name"])
    return (None, UNKNOWN_NAME) if payload is None else ([], app.standalone.change(payload, now_ms))

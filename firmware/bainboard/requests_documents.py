"""Requests about documents: transfers both ways, and the chocolates saved on the board. See `requests_hold`."""

from bainboard import commands, heap_reserve, starting, wire
from bainboard.transfer import Transfer


def begin(app, args: dict, now_ms: int) -> tuple:
    """A document comes in."""
    return _transfer(app).begin(args, now_ms)


def send(app, args: dict, now_ms: int) -> tuple:
    """A document goes out."""
    payload = app.documents.payload[args["what"]]
    if args["name"] is not None:
        payload = starting.find(app, args["name"])
        if payload is None:
            return None, starting.UNKNOWN_NAME
    return _transfer(app).send(args["what"], payload, now_ms)


def chunk(app, args: dict, now_ms: int) -> tuple:
    """The next piece of a document, either way."""
    return _transfer(app).chunk(args, now_ms)


def _transfer(app) -> Transfer:
    """The transfer that is open; a new one where none is."""
    if app.service.transfer is None:
        app.service.transfer = Transfer()
    return app.service.transfer


def commit(app, args: dict, now_ms: int) -> tuple:
    """The transfer ends: check and store what came in."""
    transfer = _transfer(app)
    pairs, why = transfer.commit(now_ms)
    if why or transfer.complete is None:
        return pairs, why
    what, payload = transfer.complete
    if what == "gains":
        return _take_gains(app, payload)
    heap_reserve.release()  # for the document as text, as a frame and as it is read back
    try:
        why = commands.may_store(what, app.warmer.state) or app.documents.save(what, payload)
    except MemoryError:
        why = "no memory in one piece just now; restart the board and send it again; what was stored still holds"
    heap_reserve.retake()
    if why is None:
        w = app.warmer
        app.build(w.latch, w.evidence)
    return pairs, why


def _take_gains(app, payload: bytes):
    """Gains for the running hold, in slices: a document of gains.* names over the present settings."""
    doc, why = wire.parse(payload)
    yield None
    from bainboard import settings  # loaded for this, and dropped again: see heap_reserve

    yield None
    heap_reserve.sweep_now()  # reading and loading left much behind, and what comes lasts
    yield None
    if why is None and not all(name.startswith("gains.") for name in doc):
        why = "gains: wanted names that begin with gains."
    if why is None:
        merged = dict(app.warmer.values)
        merged.update(doc)
        values, why = settings.check(settings.SETTINGS, merged)
        yield None
    if why is None:
        app.warmer.set_gains(values)
    yield [], why


def profiles(app, args: dict, now_ms: int):
    """One of the saved chocolates; past the last, how many there are."""
    saved = app.documents.saved
    while saved.look():
        yield None
    rows, at = saved.rows(), args["at"]
    yield [("name", rows[at][0]), ("profile", rows[at][1])] if at < len(rows) else [("count", len(rows))], None


def use(app, args: dict, now_ms: int) -> tuple:
    """Start with this saved chocolate from now on."""
    return [], starting.use(app, starting.find(app, args["name"]), now_ms)


def change(app, args: dict, now_ms: int):
    """The next bowl is of this saved chocolate; in slices, since a bowl is in the bath."""
    saved = app.documents.saved
    while saved.look():
        yield None
    payload = starting.find(app, args["name"])
    yield None
    if payload is None:
        yield None, starting.UNKNOWN_NAME
        return
    values, why = app.documents.check("profile", payload)
    yield None
    yield [], why or app.warmer.change(values, app.board.now_ms())  # the time it was asked for is past

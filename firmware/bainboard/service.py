"""What the host asks and what it is answered: every request is checked whole before any of it takes effect."""

import sys

from bainboard import VERSION, commands, faults, settings, store, wire
from bainboard.transfer import Transfer, sha256_hex
from bainboard.warmer import TRIP


def short_hash(payload):
    """First 8 hex digits of a stored document's SHA-256; empty for none."""
    return sha256_hex(payload)[:8] if payload else ""


class Documents:
    """The two stored documents (settings, profile): checked when they come, old or new when power fails."""

    def __init__(self, files):
        self._slots = {what: store.Slots(files, what) for what in ("settings", "profile")}
        self.payload = {}
        self.damaged = False
        for what, slots in self._slots.items():
            payload, _, note = slots.load()
            self.payload[what] = payload or b""
            self.damaged = self.damaged or note == store.BOTH_LOST
        self.settings = self._parse("settings", self.payload["settings"])
        self.profile = self._parse("profile", self.payload["profile"])

    def _parse(self, what, payload):
        values, why = self.check(what, payload or b"{}")
        if why:  # stored by an older firmware whose table differed: as good as damaged
            self.damaged = True
            values, _ = self.check(what, b"{}")
        return values

    @staticmethod
    def check(what, payload):
        """Values of a document, or None and the reason."""
        doc, why = wire.parse(payload)
        if why:
            return None, why
        if what == "profile":
            return settings.check_profile(doc)
        return settings.check(settings.SETTINGS, doc)

    def save(self, what, payload):
        """Check and store a document: None, or the reason it was refused."""
        values, why = self.check(what, payload)
        if why:
            return why
        try:
            self._slots[what].save(payload)
        except OSError as error:
            return f"the flash did not take it ({error}); what was stored before still holds"
        self.payload[what] = payload
        setattr(self, what, values)
        return None


class Service:
    """Answers one request at a time; what it changes goes through the app's warmer and the documents."""

    def __init__(self, app, documents, answer):
        self._app = app
        self.documents = documents
        self.leave = False  # maintenance was asked for
        self._answer_line = answer
        self._assembler = wire.Assembler()
        self._answered = commands.Answered()
        self._transfer = Transfer()
        self.refused = 0

    @property
    def warmer(self):
        """The warmer the app has now: new settings make a new one."""
        return self._app.warmer

    def take(self, data, now_ms):
        """Bytes from the host."""
        for line in self._assembler.feed(data):
            if line:
                self._line(line, now_ms)

    def _line(self, line, now_ms):
        msg, why = wire.decode(line)
        if why:
            self.refused += 1
            self._answer_line(wire.encode([("re", None), ("ok", False), ("why", why)]))
            return
        again = self._answered.get(msg)
        if again is not None:
            self._answer_line(again)
            return
        name, args, why = commands.check(msg, self.warmer.state)
        pairs = []
        if why is None:
            pairs, why = getattr(self, "_do_" + name)(args, now_ms)
        head = [("re", commands.ident(msg)), ("ok", why is None)]
        reply = wire.encode_within(head + (pairs if why is None else [("why", why)]))
        self._answered.put(msg, reply)
        self._answer_line(reply)

    # Each handler returns (pairs of the answer, None) or (None, reason).

    def _do_hello(self, args, now_ms):
        w, d = self.warmer, self.documents
        return [
            ("name", d.settings["name"]), ("version", VERSION), ("wire", wire.VERSION),
            ("python", "%d.%d.%d" % tuple(sys.implementation[1][:3])), ("state", w.state),
            ("t", self.hold_ms(now_ms)), ("fault", w.fault),
            ("settings", short_hash(d.payload["settings"])), ("profile", short_hash(d.payload["profile"])),
        ], None

    def hold_ms(self, now_ms):
        """Milliseconds since the hold began; 0 when none runs."""
        return 0 if self.warmer.programme is None else now_ms - self.warmer.started_ms

    def _do_start(self, args, now_ms):
        if self.documents.damaged:
            return None, "the stored settings are damaged; send them again first"
        w = self.warmer
        room_c = args["room"] / 1000 if args["room"] is not None else w.values["room_c"]
        why = w.start(self.documents.profile, args["stage"], args["for_ms"], room_c, now_ms)
        if why:
            return None, why
        self._app.restart_tick(now_ms)
        p = w.programme
        pairs = [(name, milli(c)) for name, c in (
            ("low", p.low_c), ("target", p.target_c), ("high", p.high_c), ("ceiling", p.ceiling_c), ("limit", p.limit_c))]
        pairs.append(("check_s", w.selftest.left_s(now_ms)))
        pairs.append(("short", max(0, milli(p.target_c + w.values["bowl_offset_c"] - w.cascade.water_ceiling(p.ceiling_c)))))
        return pairs, None

    def _do_stop(self, args, now_ms):
        self.warmer.stop()
        return [], None

    def _do_pause(self, args, now_ms):
        return [], self.warmer.pause(now_ms)

    def _do_resume(self, args, now_ms):
        return [], self.warmer.resume(now_ms)

    def _do_bowl(self, args, now_ms):
        return [], self.warmer.act("bowl_" + args["at"], now_ms)

    def _do_announce(self, args, now_ms):
        return [], self.warmer.act("announce", now_ms, in_ms=args["in_s"] * 1000)

    def _do_confirm(self, args, now_ms):
        return [], self.warmer.act("confirm", now_ms)

    def _do_thicker(self, args, now_ms):
        return [], self.warmer.act("thicker", now_ms)

    def _do_thinner(self, args, now_ms):
        return [], self.warmer.act("thinner", now_ms)

    def _do_silence(self, args, now_ms):
        self.warmer.silence(now_ms)
        return [], None

    def _do_maintenance(self, args, now_ms):
        self.leave = True
        return [], None

    def _do_begin(self, args, now_ms):
        return self._transfer.begin(args, now_ms)

    def _do_send(self, args, now_ms):
        return self._transfer.send(args["what"], self.documents.payload[args["what"]], now_ms)

    def _do_chunk(self, args, now_ms):
        return self._transfer.chunk(args, now_ms)

    def _do_commit(self, args, now_ms):
        pairs, why = self._transfer.commit(now_ms)
        if why or self._transfer.complete is None:
            return pairs, why
        what, payload = self._transfer.complete
        if what == "gains":
            return self._gains(payload)
        why = commands.may_store(what, self.warmer.state) or self.documents.save(what, payload)
        if why is None:
            self.documents.damaged = False
            self._app.build(self.warmer.fault if self.warmer.state == TRIP else faults.NONE)
        return pairs, why

    def _gains(self, payload):
        """Gains of a running hold: a document of gains.* names over the present settings."""
        doc, why = wire.parse(payload)
        if why:
            return None, why
        if not all(name.startswith("gains.") for name in doc):
            return None, "gains: wanted names that begin with gains."
        merged = dict(self.warmer.values)
        merged.update(doc)
        values, why = settings.check(settings.SETTINGS, merged)
        if why:
            return None, why
        self.warmer.set_gains(values)
        return [], None


def milli(value):
    """°C or K to whole thousandths; None stays None."""
    return None if value is None else int(round(value * 1000))

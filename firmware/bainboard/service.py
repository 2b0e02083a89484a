"""What the host asks and what it is answered: every request is checked whole before any of it takes effect."""

import binascii
import sys

from bainboard import VERSION, commands, faults, heap_reserve, saved_profiles, settings, store, wire
from bainboard.transfer import CHUNK, Transfer, base64_text, sha256_hex
from bainboard.warmer import IDLE, TRIP

AGAIN_MS = 60 * 1000  # chosen: time to look at the water and the probes
_UNKNOWN = "no chocolate of that name is kept here; profiles tells which are"


def short_hash(payload):
    """First 8 hex digits of a stored document's SHA-256; empty for none."""
    return sha256_hex(payload)[:8] if payload else ""


class Documents:
    """The two stored documents (settings, profile): checked when they come, old or new when power fails."""

    def __init__(self, files, misfit):
        self._misfit = misfit  # tells why settings do not fit the board they come to
        self._slots = {what: store.Slots(files, what) for what in ("settings", "profile")}
        self.payload = {}
        self.damaged = []  # which of them cannot be used here; no heat while there is any
        for what, slots in self._slots.items():
            payload, _, note = slots.load()
            self.payload[what] = payload or b""
            if note == store.BOTH_LOST:
                self.damaged.append(what)
        self.kept = saved_profiles.Kept(files)
        self.settings = self._parse("settings", self.payload["settings"])
        self.profile = self._parse("profile", self.payload["profile"])

    def _parse(self, what, payload):
        values, why = self.check(what, payload or b"{}")
        if why:  # stored by an older firmware whose table differed, or on another board: as good as damaged
            self.damaged.append(what)
            self.payload[what] = b""  # so that a host sends it anew, and is told why it does not do
            values, _ = self.check(what, b"{}")
        return values

    def check(self, what, payload):
        """Values of a document, or None and the reason."""
        doc, why = wire.parse(payload)
        if why:
            return None, why
        if what == "profile":
            return settings.check_profile(doc)
        values, why = settings.check(settings.SETTINGS, doc)
        why = why or self._misfit(values)
        return (None, why) if why else (values, None)

    def save(self, what, payload):
        """Check and store a document: None, or the reason it was refused."""
        values, why = self.check(what, payload)
        if why:
            return why
        try:
            self._slots[what].save(payload)
            if what == "profile":
                self.kept.put(payload)
        except OSError as error:
            return f"the flash did not take it ({error}); what was stored before still holds"
        self.payload[what] = payload
        setattr(self, what, values)
        self.damaged = [each for each in self.damaged if each != what]
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
        self._again_ms = None  # when yes was pressed at rest
        self._cold_ms = 0  # until then no hold starts, by message or by button
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
        version = VERSION + "+" + self._app.version if self._app.version else VERSION
        seldom = [] if self._app.proved() else [("kept", False)]  # the next start goes back to the version before
        if self._app.front.locked:
            seldom.append(("locked", True))
        return seldom + [
            ("version", version), ("wire", wire.VERSION),
            ("python", ".".join([str(part) for part in sys.implementation[1][:3]])), ("state", w.state),
            ("t", self.hold_ms(now_ms)), ("fault", w.fault),
            ("settings", short_hash(d.payload["settings"])), ("profile", short_hash(d.payload["profile"])),
            ("board", binascii.hexlify(self._app.board.identity()[1]).decode()),
            ("hold", self._app.log.hold),
            ("name", d.settings["name"]),  # last: the one that may be cut to fit the line
        ], None

    def hold_ms(self, now_ms):
        """Milliseconds since the hold began; 0 when none runs."""
        return 0 if self.warmer.programme is None else now_ms - self.warmer.started_ms

    def _do_start(self, args, now_ms):
        w = self.warmer
        room_c = args["room"] / 1000 if args["room"] is not None else w.values["room_c"]
        why = self._start_anew(args["stage"], args["for_ms"], room_c, now_ms)
        if why:
            return None, why
        log, p = self._app.log, w.programme
        names = ("low", "target", "high", "ceiling", "limit")
        pairs = [(name, milli(getattr(p, name + "_c"))) for name in names]
        pairs.append(("check_s", w.selftest.left_s(now_ms)))
        short_c = p.target_c + w.values["bowl_offset_c"] - w.cascade.water_ceiling(p.ceiling_c)
        pairs.append(("short", max(0, milli(short_c))))
        pairs += [("boot", log.boot), ("hold", log.hold)]
        return pairs, None

    def _start(self, stage, for_ms, room_c, now_ms):
        """Begin a hold, logged: None, or why not."""
        if self.documents.damaged:
            return f"{self.documents.damaged[0]}: damaged, or not for this board; send it again first"
        if now_ms < self._cold_ms:
            return "the heat is locked out while the probes are calibrated"
        why = self.warmer.start(self.documents.profile, stage, for_ms, room_c, now_ms)
        if why is None:
            self._app.restart_tick(now_ms)
            self._app.log.begin(now_ms, self._asked(stage, for_ms, room_c))
        return why

    def _start_anew(self, stage, for_ms, room_c, now_ms):
        """The same for another evening than the one before, and remembered."""
        why = self._start(stage, for_ms, room_c, now_ms)
        if why is None:
            self._app.power.started(False)
            self.documents.kept.remember(stage, for_ms, milli(room_c))
        return why

    def go_on(self, now_ms, by_itself=False):
        """Take up the hold that was under way when the board last ended: None, or why not."""
        offer = self._app.power.offer
        if offer is None:
            return "nothing waits to go on"
        if offer["name"] != self.documents.profile["name"]:
            why = self._use(self._found(offer["name"]), now_ms)
            if why:
                return why
        why = self._start(offer["stage"], offer["left_ms"], offer["room"] / 1000, now_ms)
        if why is None:
            self._app.power.started(by_itself)
            self.warmer.tell("went_on", [("by_itself", by_itself)])
        return why

    def _asked(self, stage, for_ms, room_c):
        """What a hold was asked to be, for the log: enough to judge it by without the host that asked."""
        d = self.documents
        pairs = [("stage", stage), ("for_ms", for_ms), ("room", milli(room_c)),
                 ("warmer", d.settings["name"]), ("settings", short_hash(d.payload["settings"]))]
        for row in settings.PROFILE:
            value = d.profile[row[settings.NAME]]
            pairs.append((row[settings.NAME], milli(value) if row[settings.KIND] == settings.FLOAT else value))
        return pairs

    def _do_stop(self, args, now_ms):
        self._app.power.drop()
        self.warmer.stop()
        return [], None

    def _do_pause(self, args, now_ms):
        return [], self.warmer.pause(now_ms)

    def _do_resume(self, args, now_ms):
        return [], self.warmer.resume(now_ms)

    def _do_bowl(self, args, now_ms):
        return [], self.warmer.act("bowl_" + args["at"], now_ms)

    def _do_announce(self, args, now_ms):
        in_s, temp, p = args["in_s"], args["temp"], self.warmer.programme
        cold = temp is None or p is None or temp < 1000 * p.target_c
        return [], self.warmer.act("announce", now_ms, in_ms=None if in_s is None else in_s * 1000, leads=cold)

    def _do_confirm(self, args, now_ms):
        if self.warmer.state == IDLE:
            return [], self.go_on(now_ms)
        return [], self.warmer.act("confirm", now_ms)

    def _do_thicker(self, args, now_ms):
        return [], self.warmer.act("thicker", now_ms)

    def _do_thinner(self, args, now_ms):
        return [], self.warmer.act("thinner", now_ms)

    def _do_test(self, args, now_ms):
        return [], self.warmer.act("test", now_ms)

    def _do_finish(self, args, now_ms):
        return [], self.warmer.act(args["to"], now_ms)

    def _do_cold(self, args, now_ms):
        # It ends by itself: a PC that went away must not leave a warmer that will not start.
        self._cold_ms = now_ms + args["for_ms"]
        return [], None

    def _do_silence(self, args, now_ms):
        self._app.front.silence(now_ms)
        return [], None

    def _do_lock(self, args, now_ms):
        if not self.warmer.values["panel"]:
            return None, "no panel is fitted"
        self._app.lock(args["at"] == "on", now_ms)
        return [], None

    def _do_maintenance(self, args, now_ms):
        self.leave = True
        return [], None

    # -- chocolates that are kept here, and evenings with no PC -----------------------------------------------------

    def _do_profiles(self, args, now_ms):
        payload = self.documents.kept.at(args["at"])
        if payload is None:
            return [("count", self.documents.kept.count())], None
        return [("name", saved_profiles.name_of(payload)), ("profile", short_hash(payload))], None

    def _do_use(self, args, now_ms):
        return [], self._use(self._found(args["name"]), now_ms)

    def _do_change(self, args, now_ms):
        payload = self._found(args["name"])
        return (None, _UNKNOWN) if payload is None else ([], self._change(payload, now_ms))

    def _change(self, payload, now_ms):
        # Not stored as the one to start with: no flash is written while something heats.
        return self.warmer.change(self.documents.check("profile", payload)[0], now_ms)

    def _found(self, name):
        """The stored chocolate of a name, or None."""
        place = self.documents.kept.find(name)
        return None if place is None else self.documents.kept.at(place)

    def _use(self, payload, now_ms):
        return _UNKNOWN if payload is None else self.documents.save("profile", payload)

    @property
    def asked(self):
        """What a board at rest asks: to go on after a power cut, or, between two presses, to look at the water."""
        if self._app.power.offer is not None and self._app.power.asked:
            return "go_on"
        return "look" if self._again_ms is not None else ""

    def again(self, now_ms):
        """Yes at rest: a first press asks to look at water and probes, a second one starts as last time.

        After a power cut it goes on instead.
        """
        if self._app.power.offer is not None:
            return self.go_on(now_ms)
        if self._again_ms is None or now_ms - self._again_ms > AGAIN_MS:
            self._again_ms = now_ms
            return None
        self._again_ms = None
        i, last, kind = self.warmer.inputs, self.documents.kept.last(), self.documents.profile["kind"]
        if i.bowl_fitted and i.bowl_c is None:
            return "the chocolate probe gives no reading"
        stage = "melted" if kind == "melted" else "melt" if last["stage"] in ("melted", "tune") else last["stage"]
        return self._start_anew(stage, last["for_ms"], last["room"] / 1000, now_ms)

    def another(self, now_ms):
        """No at rest: the next of the chocolates that are kept here; or no to going on after a power cut."""
        if self._app.power.offer is not None:
            self._app.power.drop()
            return None
        return self._choose(self.documents.profile["name"], self._use, now_ms)

    def next_bowl(self, now_ms):
        """Yes held in a pause: the next of the chocolates that are kept here is the next bowl's."""
        return self._choose(self.warmer.programme.outline(now_ms)[0], self._change, now_ms)

    def _choose(self, name, take, now_ms):
        """The chocolate that is kept after the one of this name, and can be, is taken: None, or why none was."""
        there, count = self.documents.kept, self.documents.kept.count()
        why, at = "no other chocolate is kept here; a PC sends them", there.find(name)
        for step in range(1, count):
            place = step - 1 if at is None else (at + step) % count
            payload = there.at(place)
            why = take(payload, now_ms)
            if why is None:
                self._app.chosen(place + 1, saved_profiles.name_of(payload), now_ms)
                break
        return why

    def forget_press(self, now_ms):
        """A first press that no second one followed is forgotten."""
        if self._again_ms is not None and now_ms - self._again_ms > AGAIN_MS:
            self._again_ms = None

    def _do_begin(self, args, now_ms):
        return self._transfer.begin(args, now_ms)

    def _do_send(self, args, now_ms):
        payload = self.documents.payload[args["what"]]
        if args["name"] is not None:
            payload = self._found(args["name"])
            if payload is None:
                return None, _UNKNOWN
        return self._transfer.send(args["what"], payload, now_ms)

    def _do_chunk(self, args, now_ms):
        return self._transfer.chunk(args, now_ms)

    def _do_commit(self, args, now_ms):
        pairs, why = self._transfer.commit(now_ms)
        if why or self._transfer.complete is None:
            return pairs, why
        what, payload = self._transfer.complete
        if what == "gains":
            return self._gains(payload)
        heap_reserve.spend()  # for the document as text, as a frame and as it is read back
        try:
            why = commands.may_store(what, self.warmer.state) or self.documents.save(what, payload)
        except MemoryError:
            why = "no memory in one piece just now; restart the board and send it again; what was stored still holds"
        heap_reserve.keep()
        if why is None:
            self._app.build(self.warmer.fault if self.warmer.state == TRIP else faults.NONE)
        return pairs, why

    def _do_bus(self, args, now_ms):
        board = self._app.board
        if args["at"] == 0:
            return [("kind", board.kind), ("count", board.find_probes())], None
        found = board.found_probe(args["at"])
        if found is None:
            return None, "at: no such probe was found; look along the bus first, with at 0"
        rom, temp_c, code = found
        return [("rom", rom), ("temp", milli(temp_c)), ("code", code)], None

    # -- the log ------------------------------------------------------------------------------------------------------

    def _do_clock(self, args, now_ms):
        self._app.log.set_clock(now_ms, args["wall_s"])
        return [], None

    def _do_segments(self, args, now_ms):
        try:
            found = self._app.log.segment(args["after"])
        except (OSError, MemoryError):  # no reason to stop the heat
            return None, "the flash cannot be read just now"
        if found is None:
            return [("left", 0)], None
        first, last, size, crc, following = found
        return [("first", first), ("last", last), ("size", size), ("crc", f"{crc:08x}"), ("left", following)], None

    def _do_read(self, args, now_ms):
        try:
            piece = self._app.log.read(args["segment"], args["at"], CHUNK)
        except (OSError, MemoryError):  # no reason to stop the heat
            return None, "the flash cannot be read just now"
        if not piece:
            return None, "no such segment, or nothing at this offset; ask for the segments"
        return [("at", args["at"]), ("data", base64_text(piece))], None

    def _do_forget(self, args, now_ms):
        return [("going", self._app.log.forget(args["through"], now_ms))], None

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
    return None if value is None else round(value * 1000)

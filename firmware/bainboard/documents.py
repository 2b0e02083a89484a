"""The two stored documents, settings and profile: checked when they arrive; after a power cut the old or the new."""

from bainboard import saved_profiles, store, wire


class Documents:
    """Values and payloads of both documents, and the chocolates that are saved on the board."""

    def __init__(self, files, misfit) -> None:
        self._misfit = misfit  # says why settings do not fit this board
        self._slots = {what: store.Slots(files, what) for what in ("settings", "profile")}
        self.payload: dict = {}
        self.damaged: list = []  # documents that cannot be used here; no heat while there is any
        for what, slots in self._slots.items():
            payload, _, note = slots.load()
            self.payload[what] = payload or b""
            if note == store.BOTH_LOST:
                self.damaged.append(what)
        self.saved = saved_profiles.SavedProfiles(files)
        self.settings = self._parse("settings", self.payload["settings"])
        self.profile = self._parse("profile", self.payload["profile"])

    def _parse(self, what: str, payload: bytes) -> dict:
        values, why = self.check(what, payload or b"{}")
        if why:  # stored by an older firmware with another table, or on another board: counts as damaged
            self.damaged.append(what)
            self.payload[what] = b""  # so a host sees none, sends its own and learns what is wrong with that
            values, _ = self.check(what, b"{}")
        return values

    def check(self, what: str, payload: bytes) -> tuple:
        """(values, None) of a document, or (None, reason)."""
        from bainboard import settings  # loaded for this, and dropped again: see heap_reserve

        doc, why = wire.parse(payload)
        if why:
            return None, why
        if what == "profile":
            return settings.check_profile(doc)
        values, why = settings.check(settings.SETTINGS, doc)
        why = why or self._misfit(values)
        return (None, why) if why else (values, None)

    def save(self, what: str, payload: bytes) -> str | None:
        """Check and store a document: None, or why it was refused."""
        values, why = self.check(what, payload)
        if why:
            return why
        try:
            if what == "profile":
                self.saved.put(payload)  # first: if it fails, the document in use is still the old one everywhere
            self._slots[what].save(payload)
        except OSError as error:
            return f"the flash did not take it ({error}); what was stored before still holds"
        self.payload[what] = payload
        if what == "profile":
            self.profile = values
        else:
            self.settings = values
        self.damaged = [each for each in self.damaged if each != what]
        return None

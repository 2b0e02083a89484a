"""Who may look and who may act: codes, sessions, and what a browser must say about where a request comes from.

Pure: time and randomness are arguments, and nothing here knows HTTP beyond the text of three headers.
"""

from __future__ import annotations

import hmac
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

CODE_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that looks like another
CODE_LENGTH = 8  # 31^8 codes: at GUESSES_OF_ALL a minute, five thousand years of guessing
CODE_S = 15 * 60.0  # chosen: time to find the phone
GUESSES, GUESSES_S = 10, 60.0  # chosen: wrong codes in a minute from one address, so that it shuts out itself alone
GUESSES_OF_ALL = 300  # chosen: from all addresses together
MOST_SESSIONS = 16  # chosen: more phones than a kitchen has; one more ends the one unused for longest
ACTS, ACTS_S = 20, 10.0  # chosen: acts of one phone in ten seconds; a knuckle that bounces stays below


class Limit:
    """At most so many within a time."""

    def __init__(self, most: int, within_s: float) -> None:
        self._most, self._within_s = most, within_s
        self._at_s: deque[float] = deque(maxlen=most)

    def rests(self, now_s: float) -> bool:
        """Does nothing count any more?"""
        return not self._at_s or now_s - self._at_s[-1] > self._within_s

    def full(self, now_s: float) -> bool:
        """Is no more allowed now?"""
        return len(self._at_s) == self._most and not (now_s - self._at_s[0] > self._within_s)

    def count(self, now_s: float) -> None:
        """Count one."""
        self._at_s.append(now_s)


@dataclass
class Session:
    """One phone that is paired.

    Attributes
    ----------
    token : str
        What its forms send along, beside the cookie; empty for one that only looks.
    reply : tuple of (bool, str), optional
        How its last act went, to be shown once.
    pressed : tuple of (str, float)
        Its last act by name, and when.
    """

    token: str
    used_s: float
    reply: tuple[bool, str] | None = None
    pressed: tuple[str, float] = ("", 0.0)
    acts: Limit = field(default_factory=lambda: Limit(ACTS, ACTS_S))


class Access:
    """The codes and sessions of one server; both end with it.

    Parameters
    ----------
    hosts : iterable of str
        Names with port that requests may be addressed to, such as ``127.0.0.1:8024``.
    open_to_look : bool
        May anyone who reaches the server look? True where only this PC reaches it.
    random : callable
        Makes a secret of so many bytes, as text.
    """

    def __init__(
        self, hosts: frozenset[str], *, open_to_look: bool, random: Callable[[int], str] = secrets.token_urlsafe
    ) -> None:
        self.hosts, self.open_to_look = hosts, open_to_look
        self._random = random
        self.feed_token = random(24)
        self._codes: dict[str, float] = {}  # a code, and until when it is good
        self._look_code, self._look_cookie = "", random(32)
        self._sessions: dict[str, Session] = {}
        self._guesses: dict[str, Limit] = {}  # by address
        self._guesses_of_all = Limit(GUESSES_OF_ALL, GUESSES_S)

    # -- pairing -------------------------------------------------------------------------------------------------------

    def new_code(self, now_s: float) -> str:
        """A code that pairs one phone, once."""
        code = _code()
        self._codes = {old: until_s for old, until_s in self._codes.items() if now_s < until_s}
        self._codes[code] = now_s + CODE_S
        return code

    def look_code(self) -> str:
        """A code for all who only look; it is good until the server ends. They share one session, so none ends."""
        if not self._look_code:
            self._look_code = _code()
            self._sessions[self._look_cookie] = Session("", 0.0)
        return self._look_code

    def has_code(self, now_s: float) -> bool:
        """Is there a code that is still good?"""
        return any(now_s < until_s for until_s in self._codes.values())

    def may_guess(self, client: str, now_s: float) -> bool:
        """May this address try a code? After too many wrong ones even a right one is refused."""
        of_this = self._guesses.get(client)
        return not (self._guesses_of_all.full(now_s) or (of_this is not None and of_this.full(now_s)))

    def pair(self, typed: str, client: str, now_s: float) -> str | None:
        """Exchange a code for a session's cookie; None for a wrong, used or late code, or after too many guesses."""
        if not self.may_guess(client, now_s):
            return None
        code = "".join(letter for letter in typed.upper() if letter in CODE_LETTERS)
        if self._look_code and same(code, self._look_code):
            return self._look_cookie
        until_s = self._codes.pop(code, None)
        if until_s is not None and now_s < until_s:
            return self._begin(self._random(16), now_s)
        if len(code) == CODE_LENGTH:  # anything else is no guess
            self._count_guess(client, now_s)
        return None

    def _count_guess(self, client: str, now_s: float) -> None:
        self._guesses = {each: limit for each, limit in self._guesses.items() if not limit.rests(now_s)}
        self._guesses.setdefault(client, Limit(GUESSES, GUESSES_S)).count(now_s)
        self._guesses_of_all.count(now_s)

    def _begin(self, token: str, now_s: float) -> str:
        """A new session that acts."""
        acting = [cookie for cookie in self._sessions if cookie != self._look_cookie]
        if len(acting) >= MOST_SESSIONS:
            del self._sessions[min(acting, key=lambda cookie: self._sessions[cookie].used_s)]
        cookie = self._random(32)
        self._sessions[cookie] = Session(token, now_s)
        return cookie

    def session(self, cookie: str | None, now_s: float) -> Session | None:
        """The session of a cookie."""
        found = self._sessions.get(cookie) if cookie else None
        if found is not None:
            found.used_s = now_s
        return found

    # -- requests ------------------------------------------------------------------------------------------------------

    def may_look(self, session: Session | None, bearer: str | None) -> bool:
        """May this client read the page and the feeds?"""
        return self.open_to_look or session is not None or (bearer is not None and same(bearer, self.feed_token))

    def is_ours(self, host: str | None) -> bool:
        """Is the request addressed to us by a name of ours? Another name that leads here is a foreign page's way in."""
        return host is not None and host.lower() in self.hosts

    def from_our_page(self, host: str, origin: str | None, fetch_site: str | None) -> bool:
        """Does a request that may change something come from a page of ours? A browser always says so in one header."""
        return origin == f"http://{host}" if origin is not None else fetch_site == "same-origin"

    def from_elsewhere(self, host: str, origin: str | None, fetch_site: str | None, fetch_mode: str | None) -> bool:
        """Does another page's script or picture read from us? Following a link to us is allowed."""
        if origin is not None and origin != f"http://{host}":
            return True
        return fetch_site in ("cross-site", "same-site") and fetch_mode != "navigate"


def _code() -> str:
    return "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))


def same(one: str, other: str) -> bool:
    """Compare secrets in a time that does not depend on how much of them agrees."""
    return hmac.compare_digest(one.encode(), other.encode())

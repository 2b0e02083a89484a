"""Chocolates on a board: list, send, choose and read back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bainboard.saved_profiles import MOST
from bainwright.core.errors import LinkError, RefusedError, UseError
from bainwright.files.chocolate import Profile
from bainwright.files.documents import document, short_hash
from bainwright.link.protocol import Link


@dataclass(frozen=True)
class StoredProfile:
    """A chocolate on a board: its name, the first digits of its hash, and whether a start uses it."""

    name: str
    hash: str
    chosen: bool


def stored_profiles(link: Link, hello: dict[str, Any]) -> list[StoredProfile]:
    """The chocolates a board has stored, in its own order.

    Raises
    ------
    LinkError
        When the list does not end.
    """
    found: list[StoredProfile] = []
    while len(found) <= MOST:
        answer = link.request("profiles", at=len(found))
        if "name" not in answer:
            return found
        found.append(StoredProfile(answer["name"], answer["profile"], answer["profile"] == hello.get("profile")))
    raise LinkError(f"the board lists more than {MOST} chocolates",
                    hint="check that the port is the warmer's")


def gives_way(link: Link, name: str) -> str:
    """The stored chocolate that one of this name takes the place of; empty where there is room, or it is there."""
    names = [each.name for each in stored_profiles(link, {})]
    return names[-1] if len(names) >= MOST and name not in names else ""


def send(link: Link, profiles: list[Profile]) -> list[str]:
    """Send chocolates and read each back; a start then uses the last one.

    Raises
    ------
    RefusedError
        When the board refuses one, or returns something else.
    """
    sent = []
    for profile in profiles:
        payload, lost = document("profile", profile.document()), gives_way(link, profile.name)
        link.upload("profile", payload)
        if link.download("profile", name=profile.name) != payload:
            raise RefusedError(f"{profile.name} came back different from what was sent", hint="send it again")
        sent.append(f"{profile.name} ({short_hash(payload)}{f', in place of {lost}' if lost else ''})")
    return sent


def named(link: Link, name: str) -> str:
    """The board's own spelling of a stored chocolate's name; an underscore may replace a space.

    Raises
    ------
    UseError
        When it has none of that name.
    """
    there = [each.name for each in stored_profiles(link, {})]
    spellings = {each.replace("_", " "): each for each in there}
    found = name if name in there else spellings.get(name.replace("_", " "))
    if found is None:
        wanted = "one of " + ", ".join(there) if there else None
        raise UseError(f"the warmer has no chocolate {name!r}", wanted=wanted,
                       hint=f"send it first: bain profile send {name}")
    return found


def fetch(link: Link, hello: dict[str, Any], name: str | None) -> dict[str, Any]:
    """A chocolate's figures as the board has them; without a name the one a start uses.

    Raises
    ------
    UseError
        When it has not that one, or none at all.
    """
    if name is None and not hello.get("profile"):
        raise UseError("the warmer has no chocolate yet", hint="send one first: bain profile send dark")
    values: dict[str, Any] = link.profile(named(link, name) if name else None)
    return values

"""Chocolates on a board: which it keeps, sending, choosing and reading back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from bainwright.core.errors import RefusedError, UseError
from bainwright.files.chocolate import Profile
from bainwright.files.documents import document, short_hash
from bainwright.link.protocol import Link


@dataclass(frozen=True)
class Kept:
    """A chocolate on a board: its name, the first digits of its hash, and is it the one a start takes?"""

    name: str
    hash: str
    chosen: bool


def kept(link: Link, hello: dict[str, Any]) -> list[Kept]:
    """What the board keeps, in its own order."""
    found: list[Kept] = []
    while True:
        answer = link.request("profiles", at=len(found))
        if "name" not in answer:
            return found
        found.append(Kept(answer["name"], answer["profile"], answer["profile"] == hello.get("profile")))


def send(link: Link, profiles: list[Profile]) -> list[str]:
    """Send chocolates and read each back; the last one is then the one a start takes.

    Raises
    ------
    RefusedError
        When the board will not take one, or gives back another.
    """
    said = []
    for profile in profiles:
        payload = document("profile", profile.document())
        link.upload("profile", payload)
        if link.download("profile", name=profile.name) != payload:
            raise RefusedError(f"{profile.name} came back otherwise than it was sent", hint="send it again")
        said.append(f"{profile.name} ({short_hash(payload)})")
    return said


def named(link: Link, name: str) -> str:
    """The board's own spelling of a name, when it keeps a chocolate of it; an underscore may stand for a space.

    Raises
    ------
    UseError
        When it does not.
    """
    there = [each.name for each in kept(link, {})]
    spellings = {each.replace("_", " "): each for each in there}
    found = name if name in there else spellings.get(name.replace("_", " "))
    if found is None:
        wanted = "one of " + ", ".join(there) if there else None
        raise UseError(f"the warmer keeps no chocolate {name!r}", wanted=wanted,
                       hint=f"bain profile send {name} brings it")
    return found


def fetch(link: Link, hello: dict[str, Any], name: str | None) -> dict[str, Any]:
    """A chocolate's figures as the board has them; without a name the one a start takes.

    Raises
    ------
    UseError
        When it does not keep that one, or none yet.
    """
    if name is None and not hello.get("profile"):
        raise UseError("the warmer keeps no chocolate yet", hint="bain profile send dark brings one")
    values: dict[str, Any] = json.loads(link.download("profile", **({"name": named(link, name)} if name else {})))
    return values

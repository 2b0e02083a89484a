"""What a broker may send to a client that only publishes: short answers. Anything else ends the connection.

A client library reads whatever comes: a message of 256 MB, or messages without end. We subscribe to nothing, so an
honest broker sends none.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

# Kinds of packets (MQTT 5.0, table 2-1): CONNACK, PUBACK, PINGRESP, DISCONNECT.
ANSWERS = (2, 4, 13, 14)
MOST_BYTES = 4096  # chosen: of one answer; a broker of version 5 may add a reason in words


def take_only_answers(client: Any) -> None:
    """Make an aiomqtt client refuse all but answers.

    The library has no setting for it, so this goes to paho's own reading. Where a later paho reads otherwise, nothing
    is guarded; the tests with a lying broker show it.
    """
    paho: Any = getattr(client, "_client", None)
    if not hasattr(paho, "_sock_recv") or not hasattr(paho, "_in_packet"):
        return
    paho._sock_recv = _guarded(paho, paho._sock_recv)


def _guarded(paho: Any, receive: Callable[[int], bytes]) -> Callable[[int], bytes]:
    def guarded(size: int) -> bytes:
        if size > MOST_BYTES:
            raise ConnectionAbortedError("the broker's answer is too long")
        data = receive(size)
        begins = not paho._in_packet["command"]
        if begins and data and data[0] >> 4 not in ANSWERS:
            raise ConnectionAbortedError("the broker sent what a publisher never asks for")
        return data

    return guarded

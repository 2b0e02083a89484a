"""Publishes a hold to an MQTT broker from a thread of its own. Nothing is read from the broker: it commands nothing."""

from __future__ import annotations

import asyncio
import logging
import os
import threading
import time
from collections.abc import Callable
from typing import Any, NamedTuple
from urllib.parse import unquote, urlsplit

from bainwright.core.errors import UseError
from bainwright.live.latest import Latest, Shown
from bainwright.live.mqtt_guard import take_only_answers
from bainwright.live.mqtt_topics import OFFLINE, ONLINE, homie, homie_id, topic_part, topics

OPTION, PASSWORD = "--mqtt", "BAIN_MQTT_PASSWORD"  # a password in the address could be read by other users of the PC
LOOK_S = 1.0  # how often the moment is looked at; only what changed is published
AGAIN_S = 10.0  # chosen: between two attempts to reach a broker
CONNECTS_S = 5.0
ENDS_S = 2.0
QOS = 1  # at least once: a value may come twice, and none is lost
NO_VERSION_5 = 132  # a broker that speaks 3.1.1 alone says so (MQTT 5.0, table 2-6: unsupported protocol version)
_QUIET = logging.getLogger(f"{__name__}.client")  # what a client logs is for programmers, and spoils the screen
_QUIET.setLevel(logging.CRITICAL + 1)


class Broker(NamedTuple):
    """Where to publish."""

    host: str
    port: int
    tls: bool
    user: str | None
    prefix: str


def broker_of(url: str) -> Broker:
    """A broker's address, as typed: ``mqtt://[USER@]HOST[:PORT][/PREFIX]``, or ``mqtts://`` with TLS.

    Raises
    ------
    UseError
        If it is none.
    """
    try:
        parts = urlsplit(url)
        port = parts.port or (8883 if parts.scheme == "mqtts" else 1883)
    except ValueError:  # brackets or letters that no address has
        parts, port = urlsplit(""), 0
    prefix = unquote(parts.path.strip("/")) or "bain"
    reserved = set("?#+$") & set(url + prefix) or not prefix.isprintable()
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or not port or reserved:
        raise UseError(OPTION, got=repr(url), wanted="mqtt://[USER@]HOST[:PORT][/PREFIX], or mqtts:// with TLS")
    if parts.password is not None:
        raise UseError(OPTION, got="a password in the address, which other users of this PC could read",
                       wanted=f"the password in the environment variable {PASSWORD}")  # fmt: skip
    return Broker(parts.hostname, port, parts.scheme == "mqtts", unquote(parts.username) if parts.username else None,
                  prefix)  # fmt: skip


class Feed(NamedTuple):
    """What one connection publishes: a broker takes one last will from each.

    Attributes
    ----------
    state : str
        The topic that says whether somebody publishes.
    will, end : str
        What it says once the connection broke, and once the hold is over.
    payloads : callable
        What a moment is, by topic, with that of `state`.
    """

    state: str
    will: str
    end: str
    payloads: Callable[[Shown | None], dict[str, str]]


class Publisher:
    """Publishes one hold, from `start` to `stop`.

    Parameters
    ----------
    broker : Broker
        Where to.
    latest : Latest
        The hold's latest moment.
    describe : bool
        Describe the values by the Homie convention, under ``homie/``.

    Raises
    ------
    UseError
        If aiomqtt is not installed.
    """

    def __init__(self, broker: Broker, latest: Latest, *, describe: bool = False) -> None:
        try:
            import aiomqtt
        except ImportError:
            raise UseError(OPTION, wanted="the package aiomqtt", hint="pip install 'bainwright[mqtt]'") from None
        self._aiomqtt: Any = aiomqtt
        self._broker, self._latest, self._describe = broker, latest, describe
        self._warmer = ""
        self._version = aiomqtt.ProtocolVersion.V5
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)
        self._trouble = ""

    def start(self, warmer: str) -> None:
        """Publish under this warmer's name."""
        self._warmer = warmer
        self._thread.start()

    def stop(self) -> None:
        """Publish the end, and that nobody publishes any more."""
        self._ends.set()
        if self._thread.ident is not None:
            self._thread.join(ENDS_S)

    def trouble(self) -> str:
        """Why nothing is published now; empty while it is."""
        return self._trouble

    def _run(self) -> None:
        while not self._ends.is_set():
            try:
                asyncio.run(self._publish())
            except (self._aiomqtt.MqttError, OSError, ValueError) as failed:
                if _reason(failed) == NO_VERSION_5 and self._version != self._aiomqtt.ProtocolVersion.V311:
                    self._version = self._aiomqtt.ProtocolVersion.V311
                    continue
                where = f"{self._broker.host}:{self._broker.port}"
                # The first reason stays: the same loss is not said again for another one.
                self._trouble = self._trouble or (
                    f"nothing is published at {where} ({_words(failed)}); the hold is not affected")
            self._ends.wait(AGAIN_S)

    async def _publish(self) -> None:
        """Publish what changes, until the hold ends or the broker is lost."""
        base, device = f"{self._broker.prefix}/{topic_part(self._warmer)}", f"homie/{homie_id(self._warmer)}"
        feeds = [Feed(f"{base}/status", OFFLINE, OFFLINE, lambda shown: self._values(shown, base))]
        if self._describe:
            feeds.append(Feed(f"{device}/$state", "lost", "disconnected", lambda shown: self._homie(shown, device)))
        # What a client forgets when its broker goes, asyncio would write over the screen.
        asyncio.get_running_loop().set_exception_handler(lambda loop, context: None)
        tasks = [asyncio.create_task(self._feed(each)) for each in feeds]
        try:
            await asyncio.gather(*tasks)
        finally:  # one broker serves all, so none stays alone
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _feed(self, feed: Feed) -> None:
        b, mqtt = self._broker, self._aiomqtt
        client = mqtt.Client(
            b.host, b.port, username=b.user, password=os.environ.get(PASSWORD) if b.user else None, timeout=CONNECTS_S,
            protocol=self._version, logger=_QUIET,
            tls_params=mqtt.TLSParameters() if b.tls else None, will=mqtt.Will(feed.state, feed.will, QOS, retain=True),
        )  # fmt: skip
        take_only_answers(client)
        async with client:
            self._trouble, sent = "", dict[str, str]()
            ending, said_s = False, -AGAIN_S
            while True:
                if time.monotonic() - said_s >= AGAIN_S:  # or nobody notices a broker that is gone
                    sent.pop(feed.state, None)
                    said_s = time.monotonic()
                found = feed.payloads(self._latest.get())
                for topic, payload in found.items():
                    if sent.get(topic) != payload:
                        await client.publish(topic, payload, QOS, retain=True)
                sent = found
                if ending:  # its last moment is published too
                    break
                ending = await asyncio.to_thread(self._ends.wait, LOOK_S)
            await client.publish(feed.state, feed.end, QOS, retain=True)

    def _values(self, shown: Shown | None, base: str) -> dict[str, str]:
        return {f"{base}/status": ONLINE, **(topics(shown, base, self._warmer) if shown else {})}

    def _homie(self, shown: Shown | None, device: str) -> dict[str, str]:
        if shown is None:
            return {f"{device}/$state": "init"}
        return homie(shown, device, self._warmer) | {f"{device}/$state": "alert" if shown.old else "ready"}


def _reason(failed: BaseException) -> int:
    """The broker's reason for a refusal by its number; 0 where it gave none."""
    code = getattr(failed, "rc", 0)
    return int(getattr(code, "value", code) or 0)


def _words(failed: BaseException) -> str:
    """Why, without the client's own numbers."""
    words = str(failed).rpartition("] ")[2] or type(failed).__name__
    return "the connection is lost" if words.startswith("The client is not currently connected") else words

"""A hold at a real MQTT broker, `amqtt`, which shares no code with the client: values, their end, and a lost broker."""

import asyncio
import contextlib
import threading
import time

import aiomqtt
import pytest
from amqtt.broker import Broker as RealBroker
from page_tools import scene_at

from bainwright import cli
from bainwright.core.errors import UseError
from bainwright.live import mqtt
from bainwright.live.latest import Latest, Shown
from bainwright.live.mqtt import Publisher, broker_of
from bainwright.live.mqtt_topics import homie, homie_id, topic_part, topics
from bainwright.live.now import now_of


class Kitchen:
    """A broker on a free port of this PC, in a thread of its own, and a listener that notes what is retained."""

    def __init__(self, port=0):
        self.port, self.got = port, {}
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)

    def __enter__(self):
        self._thread.start()
        self._call(self._start())
        return self

    def __exit__(self, *_):
        try:
            self._call(self._stop())
        finally:
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()
            self._loop.close()

    def _call(self, work):
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(20)

    async def _start(self):
        listeners = {"default": {"type": "tcp", "bind": f"127.0.0.1:{self.port}"}}
        plugins = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
        self._broker = RealBroker({"listeners": listeners, "plugins": plugins})
        await self._broker.start()
        self.port = self._broker._servers["default"].instance.sockets[0].getsockname()[1]
        subscribed = asyncio.Event()
        self._listener = asyncio.create_task(self._listen(subscribed))
        await subscribed.wait()  # a broker does not shut down while somebody is about to come in

    async def _listen(self, subscribed):
        async with aiomqtt.Client("127.0.0.1", self.port) as client:
            await client.subscribe("#")
            subscribed.set()
            async for message in client.messages:
                self.got[str(message.topic)] = message.payload.decode()

    async def _stop(self):
        self._listener.cancel()
        with contextlib.suppress(asyncio.CancelledError, aiomqtt.MqttError):
            await self._listener
        await self._broker.shutdown()

    def until(self, topic, payload):
        """Wait until this was published."""
        for _ in range(500):
            if self.got.get(topic) == payload:
                return
            time.sleep(0.02)
        raise AssertionError({topic: self.got.get(topic)})


@pytest.fixture(scope="module")
def kitchen():
    """One broker for all tests."""
    with Kitchen() as kitchen:
        yield kitchen


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Looks ten times a second."""
    monkeypatch.setattr(mqtt, "LOOK_S", 0.1)
    monkeypatch.setattr(mqtt, "AGAIN_S", 0.1)


def latest_of(scene, age_s=0.0):
    latest = Latest()
    latest.put(now_of(scene), time.monotonic() - age_s)
    return latest


def test_each_value_has_a_retained_topic_and_the_end_is_published(kitchen):
    """Online while it runs, offline after it; what was live is null then.

    By one connection: with two this broker sends to the one what the other published, though it subscribed to nothing.
    """
    latest = latest_of(scene_at(ask="pour"))
    publisher = Publisher(broker_of(f"mqtt://127.0.0.1:{kitchen.port}"), latest)
    publisher.start("pot")
    kitchen.until("bain/pot/chocolate_c", "31.5")
    kitchen.until("bain/pot/status", "online")
    kitchen.until("bain/pot/virtual", "true")
    kitchen.until("bain/pot/ask", "pour")
    latest.put(now_of(scene_at(bowl=31250)), time.monotonic())
    kitchen.until("bain/pot/chocolate_c", "31.25")
    latest.put(now_of(scene_at(), over=True), time.monotonic())
    publisher.stop()
    kitchen.until("bain/pot/status", "offline")
    kitchen.until("bain/pot/chocolate_c", "null")
    assert publisher.trouble() == ""


def test_a_broker_that_is_not_there_is_a_sentence_and_one_that_comes_back_is_used():
    """The hold's thread waits for none of it."""
    with Kitchen() as first:
        port = first.port
    publisher = Publisher(broker_of(f"mqtt://127.0.0.1:{port}/kitchen"), latest_of(scene_at()))
    publisher.start("pot")
    for _ in range(500):
        if publisher.trouble():
            break
        time.sleep(0.02)
    assert f"nothing is published at 127.0.0.1:{port}" in publisher.trouble()
    with Kitchen(port) as second:
        second.until("kitchen/pot/status", "online")
        assert publisher.trouble() == ""
        publisher.stop()


def test_a_broker_that_goes_while_nothing_changes_is_noticed_and_joined_again():
    """A board that is dead changes nothing any more. Every value is retained at the new broker."""
    with Kitchen() as first:
        publisher = Publisher(broker_of(f"mqtt://127.0.0.1:{first.port}"), latest_of(scene_at(), age_s=100.0))
        publisher.start("pot")
        first.until("bain/pot/stale", "true")
    for _ in range(1000):
        if publisher.trouble():
            break
        time.sleep(0.02)
    assert "nothing is published" in publisher.trouble()
    with Kitchen(first.port) as second:
        second.until("bain/pot/stale", "true")
        second.until("bain/pot/status", "online")
        publisher.stop()


def test_what_is_old_is_null_and_never_looks_present():
    """Six seconds after the last report: what is left are names, the heater, and what the PC knows by itself."""
    old = topics(Shown(now_of(scene_at(ask="pour")), 1, 6.0), "b", "pot")
    left = {name.removeprefix("b/") for name, value in old.items() if value != "null"}
    assert left == {"virtual", "chocolate", "warmer", "bath", "heater_w", "calling", "coming", "trouble", "stale",
                    "unwatched"}  # fmt: skip
    assert (old["b/stale"], old["b/warmer"], old["b/calling"]) == ("true", "pot", "false")
    assert topics(Shown(now_of(scene_at()), 1, 61.0), "b", "pot")["b/calling"] == "true"


def test_homie_lists_every_property_with_its_type():
    """Each listed one has a name, a type and a value, or a deleted one where it is not known."""
    found = homie(Shown(now_of(scene_at(bowl=None)), 1, 0.0), "homie/pot", "pot")
    listed = found["homie/pot/hold/$properties"].split(",")
    for each in listed:
        topic = f"homie/pot/hold/{each}"
        assert {f"{topic}/$name", f"{topic}/$datatype", topic} <= set(found)
    assert found["homie/pot/hold/chocolate-c"] == ""
    assert found["homie/pot/hold/water-c"] == "33.0"


@pytest.mark.parametrize(("name", "topic", "device"), [
    ("pot", "pot", "pot"), ("my/pot+#$", "my-pot---", "my-pot"), ("Töpfchen 2", "Töpfchen 2", "t-pfchen-2"),
    ("", "warmer", "warmer"), ("\x00", "-", "warmer"),
])  # fmt: skip
def test_a_warmers_name_is_one_level_of_a_topic(name, topic, device):
    """What MQTT reserves (/ + # and a leading $) becomes a dash."""
    assert topic_part(name) == topic
    assert homie_id(name) == device


@pytest.mark.parametrize("url", ["", "127.0.0.1", "http://127.0.0.1", "mqtt://", "mqtt://h:99999", "mqtt://h/a/#",
                                 "mqtt://user:word@h", "mqtt://h/a\x1bb", "mqtt://h/a%00b"])
def test_an_address_that_cannot_work_is_refused(url):
    """And a password in it, which other users could read."""
    with pytest.raises(UseError, match="--mqtt"):
        broker_of(url)


def test_the_parts_of_an_address():
    """TLS has a port of its own."""
    assert broker_of("mqtt://h") == ("h", 1883, False, None, "bain")
    assert broker_of("mqtts://cook@h/kitchen/one") == ("h", 8883, True, "cook", "kitchen/one")


def test_a_hold_says_before_it_starts_what_is_missing(capsys, monkeypatch, tmp_path):
    """Without the package, and --homie alone."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(__import__("sys").modules, "aiomqtt", None)
    assert cli.main(["hold", "dark", "--virtual", "--mqtt", "mqtt://h"]) == 2
    assert "bainwright[mqtt]" in capsys.readouterr().err
    assert cli.main(["hold", "dark", "--virtual", "--homie"]) == 2
    assert "add --mqtt" in capsys.readouterr().err

"""A hold at other brokers: `mosquitto`, which speaks MQTT 5, with a login and TLS; and brokers that lie.

Where mosquitto is not installed its tests are skipped: `apt-get install mosquitto`; CI has it.
"""

import asyncio
import contextlib
import gc
import os
import shutil
import socket
import subprocess
import threading
import time

import aiomqtt
import pytest
from page_tools import scene_at
from test_mqtt import latest_of, quick  # noqa: F401 (a fixture)

from bainwright.live import mqtt
from bainwright.live.mqtt import PASSWORD, Publisher, broker_of

WORD = "s3cret"
with_mosquitto = pytest.mark.skipif(
    not (shutil.which("mosquitto") and shutil.which("openssl")), reason="needs mosquitto and openssl")


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mosquitto:
    """A broker that lets in the user cook alone: plainly on `port`, with TLS on `tls_port`."""

    def __init__(self, folder):
        self.folder, self.port, self.tls_port = folder, free_port(), free_port()
        self.certificate = folder / "cert.pem"
        subprocess.run(["mosquitto_passwd", "-b", "-c", str(folder / "users"), "cook", WORD], check=True, timeout=60)
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
             "-days", "2", "-subj", "/CN=kitchen", "-addext", "subjectAltName=IP:127.0.0.1",
             "-keyout", str(folder / "key.pem"), "-out", str(self.certificate)],
            check=True, capture_output=True, timeout=60)  # fmt: skip
        (folder / "conf").write_text(
            f"user {os.environ.get('USER', 'root')}\nallow_anonymous false\npassword_file {folder}/users\n"
            f"listener {self.port} 127.0.0.1\nlistener {self.tls_port} 127.0.0.1\n"
            f"certfile {self.certificate}\nkeyfile {folder}/key.pem\n"
        )
        self.process = None

    def start(self):
        self.process = subprocess.Popen(["mosquitto", "-c", str(self.folder / "conf")], stderr=subprocess.DEVNULL)
        for _ in range(500):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.tls_port), 1):
                return
            time.sleep(0.01)
        raise AssertionError("mosquitto does not start")

    def kill(self):
        self.process.kill()
        self.process.wait(60)

    def first(self, topic):
        """The first that a program reads that comes now, and was it retained? By MQTT 3.1.1; the publisher speaks 5."""

        async def read():
            async with aiomqtt.Client("127.0.0.1", self.port, username="cook", password=WORD) as client:
                await client.subscribe(topic)
                message = await anext(client.messages)
                return message.payload.decode(), message.retain

        return asyncio.run(asyncio.wait_for(read(), 20))

    def until(self, topic, payload):
        """Wait until this is retained."""
        for _ in range(200):
            if (found := self.first(topic)) == (payload, True):
                return
            time.sleep(0.05)
        raise AssertionError(found)


@pytest.fixture(scope="module")
def mosquitto(tmp_path_factory):
    broker = Mosquitto(tmp_path_factory.mktemp("mosquitto"))
    broker.start()
    yield broker
    broker.kill()


@contextlib.contextmanager
def published(url, monkeypatch, word=WORD, age_s=0.0, *, describe=False):
    monkeypatch.setenv(PASSWORD, word)
    publisher = Publisher(broker_of(url), latest_of(scene_at(), age_s), describe=describe)
    publisher.start("pot")
    try:
        yield publisher
    finally:
        publisher.stop()


def said(publisher):
    """The publisher's trouble, once it has one."""
    for _ in range(1000):
        if publisher.trouble():
            return publisher.trouble()
        time.sleep(0.01)
    raise AssertionError("no trouble")


@with_mosquitto
@pytest.mark.parametrize("tls", [False, True])
def test_values_are_retained_after_a_login_with_and_without_tls(mosquitto, monkeypatch, tls):
    monkeypatch.setenv("SSL_CERT_FILE", str(mosquitto.certificate))  # OpenSSL's name for further authorities
    url = f"mqtts://cook@127.0.0.1:{mosquitto.tls_port}" if tls else f"mqtt://cook@127.0.0.1:{mosquitto.port}"
    with published(f"{url}/{'tls' if tls else 'plain'}", monkeypatch) as publisher:
        mosquitto.until(f"{'tls' if tls else 'plain'}/pot/status", "online")
        mosquitto.until(f"{'tls' if tls else 'plain'}/pot/chocolate_c", "31.5")
        assert publisher.trouble() == ""
    mosquitto.until(f"{'tls' if tls else 'plain'}/pot/status", "offline")


@with_mosquitto
def test_a_hold_is_described_by_homie_while_it_runs_and_disconnected_after(mosquitto, monkeypatch):
    """The states of a device are those of the Homie convention 4.0 (from memory)."""
    with published(f"mqtt://cook@127.0.0.1:{mosquitto.port}", monkeypatch, describe=True):
        mosquitto.until("homie/pot/$state", "ready")
        mosquitto.until("homie/pot/hold/chocolate-c", "31.5")
        mosquitto.until("bain/pot/chocolate_c", "31.5")
    mosquitto.until("homie/pot/$state", "disconnected")
    mosquitto.until("bain/pot/status", "offline")


@with_mosquitto
def test_a_wrong_password_and_an_unknown_certificate_are_sentences(mosquitto, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE", raising=False)
    with published(f"mqtt://cook@127.0.0.1:{mosquitto.port}/a", monkeypatch, "wrong") as publisher:
        assert f"nothing is published at 127.0.0.1:{mosquitto.port} (Not authorized)" in said(publisher)
    with published(f"mqtts://cook@127.0.0.1:{mosquitto.tls_port}/a", monkeypatch) as publisher:
        assert "certificate" in said(publisher)


@with_mosquitto
def test_a_connection_that_breaks_publishes_the_last_will(mosquitto, monkeypatch, caplog):
    """Through a wire that is cut: the broker hears no farewell. Homie 4.0 (from memory): a device is "lost" then."""
    monkeypatch.setattr(mqtt, "CONNECTS_S", 0.5)  # as long as a farewell to nobody takes
    wire = socket.create_server(("127.0.0.1", 0))
    ends = []

    def carry():
        for _ in range(2):
            here, there = wire.accept()[0], socket.create_connection(("127.0.0.1", mosquitto.port))
            ends.extend([here, there])
            for one, other in ((here, there), (there, here)):
                threading.Thread(target=pump, args=(one, other), daemon=True).start()

    def pump(one, other):
        with contextlib.suppress(OSError):
            while piece := one.recv(4096):
                other.sendall(piece)

    threading.Thread(target=carry, daemon=True).start()
    url = f"mqtt://cook@127.0.0.1:{wire.getsockname()[1]}/cut"
    with published(url, monkeypatch, age_s=4.0, describe=True) as publisher:
        mosquitto.until("cut/pot/status", "online")
        mosquitto.until("homie/pot/hold/low-c", "31.0")
        wire.close()  # it does not come back
        for each in ends:
            with contextlib.suppress(OSError):  # the other end may have been faster
                each.shutdown(socket.SHUT_RDWR)
        mosquitto.until("cut/pot/status", "offline")
        mosquitto.until("homie/pot/$state", "lost")
        assert "nothing is published" in said(publisher)
    gc.collect()
    assert caplog.messages == []  # they would be written over the screen


@with_mosquitto
def test_a_broker_that_is_killed_is_a_sentence_and_one_that_comes_back_is_used(mosquitto, monkeypatch):
    monkeypatch.setattr(mqtt, "CONNECTS_S", 0.5)  # as long as a farewell to nobody takes
    with published(f"mqtt://cook@127.0.0.1:{mosquitto.port}/killed", monkeypatch, age_s=4.0) as publisher:
        mosquitto.until("killed/pot/status", "online")
        mosquitto.kill()
        assert "nothing is published" in said(publisher)
        mosquitto.start()  # it has forgotten everything
        mosquitto.until("killed/pot/low_c", "31.0")
        assert publisher.trouble() == ""


def length(count):
    """A length as MQTT writes it."""
    out = b""
    while True:
        count, low = divmod(count, 128)
        out += bytes([low | (128 if count else 0)])
        if not count:
            return out


WELCOME = b"\x20\x03\x00\x00\x00"
LIES = {
    "a topic that is no text": [WELCOME + b"\x30" + length(6) + b"\x00\x03\xff\xfe\xfdx"],
    "a message without a topic": [WELCOME + b"\x30\x00"],
    "an answer that is cut short": [WELCOME + b"\x40\x00"],
    "a welcome that is cut short": [b"\x20\x01\x00"],
    "properties that end too late": [b"\x20\x05\x00\x00\x7f\x11\x00"],
    "answers to what was never asked": [WELCOME, b"\x40\x02\x99\x99" * 1000, b"\x90\x04\x00\x01\x00\x00"],
    "an answer of 256 MB": [WELCOME + b"\x40" + length(268435455), *[bytes(1 << 16)] * 1000],
    "a message of 256 MB": [WELCOME + b"\x30" + length(268435455) + b"\x00\x01a", *[bytes(1 << 16)] * 1000],
    "messages without end": [WELCOME, *[(b"\x34" + length(1005) + b"\x00\x01a\x00\x01" + bytes(1000)) * 60] * 1000],
    "bytes": [bytes(range(256)) * 100],
}


@pytest.mark.parametrize("lie", LIES)
def test_a_broker_that_lies_is_a_sentence_and_fills_no_memory(lie, capfd, monkeypatch):
    """Of 60 MB it gets rid of what fits into sockets; nothing of it reaches the terminal."""
    monkeypatch.setattr(mqtt, "CONNECTS_S", 0.3)  # some lies are taken for silence
    door, connections, greetings, told = socket.create_server(("127.0.0.1", 0)), [], [], []

    def serve():
        with contextlib.suppress(OSError):
            while True:
                connections.append(door.accept()[0])
                threading.Thread(target=tell, args=(connections[-1],), daemon=True).start()

    def tell(connection):
        with contextlib.suppress(OSError):
            greetings.append(connection.recv(4096))
            for piece in LIES[lie]:
                connection.sendall(piece)
                told.append(len(piece))

    threading.Thread(target=serve, daemon=True).start()
    publisher = Publisher(broker_of(f"mqtt://127.0.0.1:{door.getsockname()[1]}"), latest_of(scene_at()))
    publisher.start("pot")
    try:
        assert "nothing is published" in said(publisher)
    finally:
        publisher.stop()
        door.close()
        for each in connections:
            each.close()
    assert greetings[0][2:9] == b"\x00\x04MQTT\x05"  # it asks for version 5 first (MQTT 5.0, 3.1.2)
    assert sum(told) < 16e6 * len(connections)
    assert capfd.readouterr() == ("", "")

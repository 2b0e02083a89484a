"""The page's name on the network, asked for by another resolver of multicast DNS, all on this PC's own loopback."""

import http.client
from unittest import mock

import pytest
import zeroconf

from bainwright.live.live_hold import LiveHold
from bainwright.page import hosting, server
from bainwright.page.hosting import HoldPage
from bainwright.page.local_name import NAME, local_name

HERE, NEAR = "127.0.0.1", "127.0.0.2"  # the second is this PC, too, but not the address that is open to look


def address_of_name(wait_ms):
    with zeroconf.Zeroconf(interfaces=[HERE], ip_version=zeroconf.IPVersion.V4Only) as network:
        found = zeroconf.AddressResolverIPv4(f"{NAME}.")
        found.request(network, wait_ms)
        return found.parsed_addresses()


def test_another_program_finds_the_name_and_a_second_pc_does_not_take_it():
    """Some 4 s: the waits of RFC 6762 before a name is announced and taken back."""
    name = local_name(HERE, 8024)
    name.start()
    try:
        assert any(address_of_name(3000) for _ in range(5))
        assert address_of_name(3000) == [HERE]
        assert local_name(HERE, 8025) is None
    finally:
        name.stop()


def answer_of(page, host):
    connection = http.client.HTTPConnection(NEAR, page.port, timeout=60)
    connection.request("GET", "/", headers={"Host": host})
    status = connection.getresponse().status
    connection.close()
    return status


@pytest.mark.usefixtures("here")  # what it refuses is recorded at home
@pytest.mark.parametrize("name", [None, mock.Mock()])
def test_the_page_answers_to_the_name_where_it_has_it(monkeypatch, name):
    """Else a request for it came by another way, and is refused."""
    monkeypatch.setattr(hosting, "local_name", lambda address, port: name)
    monkeypatch.setattr(server, "is_here", lambda address: address == HERE)  # the other one stands for the network's
    with HoldPage([NEAR], 0, [], LiveHold()) as page:
        assert answer_of(page, f"{NAME}:{page.port}") == (303 if name else 421)
        assert any(f"http://{NAME}:{page.port}" in line for line in page.welcome()) == bool(name)
    if name:
        assert [each[0] for each in name.method_calls] == ["start", "stop"]


def test_a_page_for_this_pc_alone_announces_no_name(monkeypatch):
    """Whatever its loopback address is: no phone could reach it there."""
    monkeypatch.setattr(hosting, "local_name", mock.Mock(side_effect=AssertionError))
    with HoldPage([NEAR], 0, [], LiveHold()) as page:
        assert NAME not in "".join(page.welcome())
        assert "only this PC reaches it" in "".join(page.welcome())


def test_without_the_package_or_multicast_there_is_no_name(monkeypatch):
    """And nothing else is missing."""
    monkeypatch.setattr(zeroconf, "Zeroconf", mock.Mock(side_effect=OSError("no multicast here")))
    assert local_name(HERE, 8024) is None
    monkeypatch.setitem(__import__("sys").modules, "zeroconf", None)
    assert local_name(HERE, 8024) is None

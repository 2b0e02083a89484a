"""The page's name on the local network, by multicast DNS (RFC 6762), where the package zeroconf is installed.

Phones that know such names find the page without its address. Nothing depends on it.
"""

from __future__ import annotations

import importlib
import socket
import threading
from typing import Any

NAME = "bain.local"
SERVICE = "_http._tcp.local."
TAKEN_MS = 750  # RFC 6762, 8.1: who has a name answers one of three questions, 250 ms apart
STOPS_S = 2.0  # for the farewell


class LocalName:
    """Answers for the name on one network, from `start` to `stop`.

    Parameters
    ----------
    zeroconf : module
        The package.
    address : str
        This PC's address there.
    port : int
        The page's.
    """

    def __init__(self, zeroconf: Any, address: str, port: int) -> None:
        self._zeroconf, self._address, self._port = zeroconf, address, port
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._answer, name="local name", daemon=True)

    def start(self) -> None:
        """Answer from now on."""
        self._thread.start()

    def stop(self) -> None:
        """Take the name back."""
        self._ends.set()
        if self._thread.ident is not None:
            self._thread.join(STOPS_S)

    def _answer(self) -> None:
        """Where the network takes no multicast, the page is served without a name."""
        service = self._zeroconf.ServiceInfo(
            SERVICE, f"bainwright.{SERVICE}", server=f"{NAME}.", port=self._port,
            addresses=[socket.inet_aton(self._address)],
        )  # fmt: skip
        try:
            with _opened(self._zeroconf, self._address) as network:
                network.register_service(service, allow_name_change=True)
                self._ends.wait()
        except (OSError, self._zeroconf.Error):
            return


def local_name(address: str, port: int) -> LocalName | None:
    """The name for a page at this address; None where another PC has it, or it cannot be had."""
    try:
        zeroconf: Any = importlib.import_module("zeroconf")  # Any: a name that is used here is not in its __all__
    except ImportError:
        return None
    try:
        with _opened(zeroconf, address) as network:
            taken = zeroconf.AddressResolverIPv4(f"{NAME}.").request(network, TAKEN_MS)
    except (OSError, zeroconf.Error):
        return None
    return None if taken else LocalName(zeroconf, address, port)


def _opened(zeroconf: Any, address: str) -> Any:
    return zeroconf.Zeroconf(interfaces=[address], ip_version=zeroconf.IPVersion.V4Only)

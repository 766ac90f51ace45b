"""Who may talk to the panel. Pure decisions; server.py asks them for every request.

A browser may be made to send requests here by any page that it visits. Such a page gives itself
away: by its Origin, or, where its name was made to lead to this computer, by the Host that it
asks for. On the loopback address that is enough; elsewhere a token is needed too.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
from collections.abc import Mapping

TOKEN_BYTES = 16
COOKIE = "panel"
NAMES_OF_THIS_COMPUTER = ("localhost",)


class Guard:
    """Decides for a server on one address; `port` is set once it is known.

    `token` is "" on the loopback address.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self.port = 0
        self.token = "" if is_loopback(address) else secrets.token_urlsafe(TOKEN_BYTES)

    @property
    def url(self) -> str:
        """Where to go, with the token where there is one."""
        host = f"[{self.address}]" if ":" in self.address else self.address
        return f"http://{host}:{self.port}/" + (f"?token={self.token}" if self.token else "")

    def refusal(self, headers: Mapping[str, str], cookie: str, token: str, live: bool) -> str:
        """Why a request is refused, "" where it is not. `live` marks the WebSocket.

        `headers` are by lower-case names; `token` is that of the address, `cookie` that which a
        page was given.
        """
        host = headers.get("host", "")
        if not self._is_our_host(host):
            return "this panel is not known by that name"
        if live and headers.get("origin") != f"http://{host}":
            return "another page may not use this panel"
        if self.token and not (self._matches(cookie) or self._matches(token)):
            return "open the address that was printed when the panel was started"
        return ""

    def _matches(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())

    def _is_our_host(self, host: str) -> bool:
        """Whether a Host header names this server by a name that cannot be made to lead here."""
        name, _, port = host.rpartition(":")
        if port != str(self.port):
            return False
        name = name.removeprefix("[").removesuffix("]").lower()
        if name == self.address.lower() or name in NAMES_OF_THIS_COMPUTER:
            return True
        if not self.token:
            return is_loopback(name)
        return is_address(name) or name == socket.gethostname().lower()


def is_address(name: str) -> bool:
    """Whether a name is an address in figures."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def is_loopback(name: str) -> bool:
    """Whether a name leads nowhere but to this computer."""
    if name in NAMES_OF_THIS_COMPUTER:
        return True
    return is_address(name) and ipaddress.ip_address(name).is_loopback

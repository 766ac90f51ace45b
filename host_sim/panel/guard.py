"""Who may talk to the panel. Pure decisions; server.py asks them for every request.

A browser may be made to send requests here by any page that it visits. Such a page gives itself
away: by its Origin, or, where its name was made to lead to this computer, by the Host that it
asks for. On the loopback address that is enough; elsewhere a token is needed too, and it is
looked for before anything else of a request is.
"""

from __future__ import annotations

import hmac
import ipaddress
import re
import secrets
import socket
from collections.abc import Mapping

TOKEN_BYTES = 16
COOKIE = "panel"
NO_TOKEN = "open the address that was printed when the panel was started"
# The token in the address, or in the cookie that a page was given.
GIVEN = re.compile(rb"(?:[?&]token=|[ ;]%b=)([\w-]+)" % COOKIE.encode())
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

    def has_token(self, head: bytes) -> bool:
        """Whether the bytes of a request hold the token, where one is needed."""
        wanted = self.token.encode()
        return not wanted or any(
            hmac.compare_digest(given, wanted) for given in GIVEN.findall(head))

    def refusal(self, headers: Mapping[str, str], live: bool) -> str:
        """Why a request with the token is refused, "" where it is not.

        `headers` are by lower-case names; `live` marks the WebSocket.
        """
        host = headers.get("host", "")
        if not self._is_our_host(host):
            return "this panel is not known by that name"
        if live and headers.get("origin") != f"http://{host}":
            return "another page may not use this panel"
        return ""

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

"""Requests to the panel's server, as raw as an attacker can make them."""

from __future__ import annotations

import base64
import json
import os
import socket
import struct

from host_sim.panel.feed import Feed
from host_sim.panel.session import Session

TIMEOUT_S = 10
KEY = base64.b64encode(b"sixteen byte key").decode()


class StillSession(Session):
    """Shows one picture and takes note of what it is asked."""

    def __init__(self):
        super().__init__(Feed())
        self.asked = []
        self.feed.begin({"title": "still"})

    def ask(self, message):
        self.asked.append(message)
        return "refused by the test" if message == "[]" else ""

    def play(self):
        self.stopped.wait()


class Raw:
    """One connection; `reply` is the status line and the headers of the answer, as text."""

    def __init__(self, guard, path="/", **headers):
        host = f"127.0.0.1:{guard.port}"
        fields = {"Host": host} | {name.replace("_", "-"): value
                                   for name, value in headers.items()}
        self.socket = socket.create_connection(("127.0.0.1", guard.port), TIMEOUT_S)
        lines = [f"GET {path} HTTP/1.1", *(f"{k}: {v}" for k, v in fields.items() if v), "", ""]
        self.socket.sendall("\r\n".join(lines).encode())
        self._file = self.socket.makefile("rb")
        head = []
        while (line := self._file.readline()) not in (b"\r\n", b""):
            head.append(line.decode().strip())
        self.reply = "\n".join(head)
        self.status = int(head[0].split()[1]) if head else 0

    def body(self):
        return self._file.read()

    def close(self):
        self._file.close()
        self.socket.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    # After the upgrade to a WebSocket (RFC 6455, section 5.2).

    def send(self, text, opcode=1):
        data = text.encode()
        if len(data) < 126:
            length = bytes([0x80 | len(data)])
        elif len(data) < 1 << 16:
            length = bytes([0x80 | 126]) + struct.pack(">H", len(data))
        else:
            length = bytes([0x80 | 127]) + struct.pack(">Q", len(data))
        mask = os.urandom(4)
        masked = bytes(byte ^ mask[i % 4] for i, byte in enumerate(data))
        self.socket.sendall(bytes([0x80 | opcode]) + length + mask + masked)

    def frame(self):
        """The next message as JSON, None where the connection has ended."""
        head = self._file.read(2)
        if len(head) < 2 or head[0] & 0xF == 8:
            return None
        length = head[1] & 0x7F
        if length == 126:
            (length,) = struct.unpack(">H", self._file.read(2))
        elif length == 127:
            (length,) = struct.unpack(">Q", self._file.read(8))
        return json.loads(self._file.read(length))


def live(guard, **headers):
    """A connection that asks for the WebSocket as the page's own script does."""
    host = headers.get("Host", f"127.0.0.1:{guard.port}")
    own = {"Origin": f"http://{host}", "Upgrade": "websocket", "Connection": "Upgrade",
           "Sec_WebSocket_Key": KEY, "Sec_WebSocket_Version": "13"}
    return Raw(guard, "/live", **(own | headers))

"""The WebSocket of a page (RFC 6455): short whole texts come in, texts of any length go out.

Only what the page's own script sends is understood. Whatever else comes ends the connection, and
its close code says why: a message in pieces, a long one, a frame without a mask (section 5.1
demands that), bytes that are no text. What has come is never kept beyond one short message.
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
from itertools import cycle

LONGEST_MESSAGE = 512
SEND_S = 10.0  # a page that takes nothing for so long is gone
TEXT, CLOSE, PING, PONG = 1, 8, 9, 10
OPCODES = (TEXT, CLOSE, PING, PONG)
FIN, MASKED, OPCODE, LENGTH = 0x80, 0x80, 0x0F, 0x7F
SHORT, LENGTH_16, LENGTH_64 = 125, 126, 127
ENDED, AGAINST_RULES, NOT_TAKEN, NO_TEXT, TOO_LONG = 1000, 1002, 1003, 1007, 1009
GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # section 1.3


class SocketEnded(Exception):
    """No more comes from this page, or nothing that is taken; `code` is the close code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


def accept_key(key: str) -> str:
    """What answers the key of a page (section 4.2.2)."""
    return base64.b64encode(hashlib.sha1(key.encode() + GUID).digest()).decode()


def frame(opcode: int, payload: bytes) -> bytes:
    """One whole frame, unmasked as a server's must be (section 5.2)."""
    size = len(payload)
    if size <= SHORT:
        length = bytes([size])
    elif size < 1 << 16:
        length = bytes([LENGTH_16]) + size.to_bytes(2, "big")
    else:
        length = bytes([LENGTH_64]) + size.to_bytes(8, "big")
    return bytes([FIN | opcode]) + length + payload


class WebSocket:
    """One page, after the upgrade."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer

    async def receive(self) -> str:
        """The next message. Raises SocketEnded, OSError, EOFError."""
        while True:
            opcode, payload = await self._frame()
            if opcode == CLOSE:
                raise SocketEnded(ENDED)
            if opcode == PING:
                await self._send(PONG, payload)
            elif opcode == TEXT:
                try:
                    return payload.decode()
                except UnicodeDecodeError:
                    raise SocketEnded(NO_TEXT) from None

    async def _frame(self) -> tuple[int, bytes]:
        """Opcode and payload of the next frame; it is judged before its payload is read."""
        first, second = await self._reader.readexactly(2)
        opcode, size = first & OPCODE, second & LENGTH
        if not second & MASKED:
            raise SocketEnded(AGAINST_RULES)
        if first & ~OPCODE != FIN or opcode not in OPCODES:
            raise SocketEnded(NOT_TAKEN)
        if opcode != TEXT and size > SHORT:
            raise SocketEnded(AGAINST_RULES)
        if size == LENGTH_16:
            size = int.from_bytes(await self._reader.readexactly(2), "big")
        if size == LENGTH_64 or size > LONGEST_MESSAGE:
            raise SocketEnded(TOO_LONG)
        mask = await self._reader.readexactly(4)
        payload = await self._reader.readexactly(size)
        return opcode, bytes(byte ^ key for byte, key in zip(payload, cycle(mask), strict=False))

    async def send(self, text: str) -> None:
        """Send a message. Raises OSError, which a page that takes nothing raises too."""
        await self._send(TEXT, text.encode())

    async def end(self, code: int) -> None:
        """Say goodbye. Raises OSError."""
        await self._send(CLOSE, code.to_bytes(2, "big"))

    async def _send(self, opcode: int, payload: bytes) -> None:
        self._writer.write(frame(opcode, payload))
        async with asyncio.timeout(SEND_S):  # TimeoutError is an OSError
            await self._writer.drain()

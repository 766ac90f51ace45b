"""The web server of the panel: a few fixed files and one WebSocket.

It stands on asyncio alone, so that every byte that a stranger sends is counted here: the head of
a request is bounded in bytes and in time, no body is read, and the connections that are not yet,
or never become, a page are bounded in number. Where they are too many, the one that came first
goes: a page that asks as a browser does is answered at once and never that old.
"""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path

from host_sim.common.errors import InputError
from host_sim.panel.guard import COOKIE, NO_TOKEN, Guard
from host_sim.panel.request_head import END, LONGEST_HEAD, BadHead, Head, parse_head
from host_sim.panel.session import FRAME_S, Session
from host_sim.panel.web_socket import SocketEnded, WebSocket, accept_key

HERE = Path(__file__).parent
INDEX = "index.html"
DRIVES = "/drives/"
TYPES = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
         ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
PLAIN = "text/plain; charset=utf-8"
PAGES_AT_ONCE = 8
VISITORS_AT_ONCE = 64  # connections that are not a page; a browser opens six
VISIT_S = 10.0  # for the head of a request and the answer to it
KERNEL_BYTES = 16384  # that may lie unread in each direction's buffer of a connection
LOOK_S = FRAME_S / 2

# Closed, gone, or not talking as a page does: whatever it is, only this connection ends.
ENDS = (SocketEnded, OSError, EOFError)

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
                               "img-src 'self' data:; connect-src 'self'; base-uri 'none'; "
                               "form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Connection": "close",
}

# A report brings its own styles and pictures, and has nothing to run or to ask for.
REPORT_POLICY = ("default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox "
                 "allow-popups; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")


def files() -> dict[str, tuple[bytes, str]]:
    """Everything that is served, by its path: content and type."""
    return {
        path.name: (path.read_bytes(), TYPES[path.suffix])
        for folder in ("page", "vendor") for path in (HERE / folder).iterdir()
        if path.suffix in TYPES
    }


def answer(status: int, content: str | bytes, kind: str = PLAIN, **more: str) -> bytes:
    """A whole answer; every one of them tells the browser to keep strangers out."""
    body = content.encode() if isinstance(content, str) else content
    fields = HEADERS | {"Content-Type": kind, "Content-Length": str(len(body))} | {
        name.replace("_", "-"): value for name, value in more.items()}
    return _head(status, fields) + body


def _head(status: int, fields: dict[str, str]) -> bytes:
    lines = [f"HTTP/1.1 {status} {HTTPStatus(status).phrase}",
             *(f"{name}: {value}" for name, value in fields.items())]
    return "\r\n".join(lines).encode() + END


SWITCHES = b"HTTP/1.1 101 "


class Server:
    """Serves one session to the pages that the guard lets in."""

    def __init__(self, session: Session, guard: Guard) -> None:
        self._session = session
        self._guard = guard
        self._files = files()
        self._pages = 0
        self._visitors: dict[asyncio.StreamWriter, None] = {}  # in the order of their coming

    async def serve(self, port: int, ready: Callable[[], None]) -> None:
        """Serve until cancelled or the session has failed; `ready` is called once it does.

        Raises InputError where the address cannot be had.
        """
        address = self._guard.address
        try:
            server = await asyncio.start_server(
                self._visit, address, port, limit=LONGEST_HEAD, start_serving=False)
        except OSError as error:
            reason = error.strerror or error
            raise InputError(f"{address} port {port}: cannot be served: {reason}") from error
        for listening in server.sockets:  # what is accepted inherits it
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, KERNEL_BYTES)
        self._guard.port = server.sockets[0].getsockname()[1]
        try:
            await server.start_serving()
            ready()
            while not self._session.failure:
                await asyncio.sleep(FRAME_S)
        finally:
            server.close()  # pages that are open end with the loop

    async def _visit(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, from its coming to its end."""
        self._visitors[writer] = None
        if len(self._visitors) > VISITORS_AT_ONCE:
            oldest = next(iter(self._visitors))
            del self._visitors[oldest]
            oldest.transport.abort()
        try:
            await self._serve_one(reader, writer)
        except asyncio.CancelledError:
            pass  # the server ends, and with it every connection
        finally:
            self._visitors.pop(writer, None)
            writer.close()

    async def _serve_one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer a request; where it is a page's for its WebSocket, talk until either ends."""
        try:
            async with asyncio.timeout(VISIT_S):
                is_page = await self._welcome(reader, writer)
            if is_page:
                self._visitors.pop(writer, None)
                await self._live(WebSocket(reader, writer))
        except* ENDS:
            pass

    async def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        """Answer one request; whether the connection is a page's WebSocket from now on."""
        try:
            reply = self._reply(await reader.readuntil(END))
        except asyncio.LimitOverrunError:
            reply = answer(431, "the head of this request is too long")
        except BadHead as bad:
            reply = answer(bad.status, str(bad))
        writer.write(reply)
        await writer.drain()
        return reply.startswith(SWITCHES)

    def _reply(self, data: bytes) -> bytes:
        """The answer to a request, the token first. Raises BadHead."""
        if not self._guard.has_token(data):
            return answer(403, NO_TOKEN)
        head = parse_head(data)
        is_live = head.path == "/live"
        if why := self._guard.refusal(head.headers, is_live):
            return answer(403, why)
        if is_live:
            return self._upgrade(head)
        if head.path.startswith(DRIVES):
            return self._report(head.path.removeprefix(DRIVES))
        name = head.path.removeprefix("/") or INDEX
        if name not in self._files:
            return answer(404, "there is no such page")
        cookie = {}
        if name == INDEX and self._guard.token:  # what the page asks for comes without the token
            cookie["Set_Cookie"] = (
                f"{COOKIE}={self._guard.token}; Path=/; HttpOnly; SameSite=Strict")
        return answer(200, *self._files[name], **cookie)

    def _report(self, name: str) -> bytes:
        """The report of a drive that this panel has saved, and of no other."""
        path = self._session.report(name)
        try:
            content = path.read_bytes() if path else b""
        except OSError:
            content = b""
        if not content:
            return answer(404, "there is no such drive, or its report has been moved")
        return answer(200, content, TYPES[".html"], Content_Security_Policy=REPORT_POLICY)

    def _upgrade(self, head: Head) -> bytes:
        """The answer to a page that asks for the WebSocket."""
        key = head.headers.get("sec-websocket-key")
        if head.headers.get("upgrade", "").lower() != "websocket" or not key:
            return answer(400, "only a page's script talks here")
        if self._pages >= PAGES_AT_ONCE:
            return answer(503, f"{PAGES_AT_ONCE} pages are open already")
        return _head(101, {"Upgrade": "websocket", "Connection": "Upgrade",
                           "Sec-WebSocket-Accept": accept_key(key)})

    async def _live(self, page: WebSocket) -> None:
        """Send and receive until either ends."""
        self._pages += 1
        try:
            async with asyncio.TaskGroup() as both:
                both.create_task(self._send(page))
                both.create_task(self._receive(page))
        except* SocketEnded as ended:
            for one in ended.exceptions:
                if isinstance(one, SocketEnded):
                    await page.end(one.code)
        finally:
            self._pages -= 1

    async def _send(self, page: WebSocket) -> None:
        """Send every frame, at the pace at which this page takes them."""
        cursor = None
        while True:
            texts, cursor = self._session.feed.since(cursor)
            for text in texts:
                await page.send(text)
            await asyncio.sleep(LOOK_S)

    async def _receive(self, page: WebSocket) -> None:
        while True:
            refused = self._session.ask(await page.receive())
            if refused:
                await page.send(json.dumps({"refused": refused}))

"""The web server of the panel: a few fixed files and one WebSocket."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from microdot import Microdot, Request, Response
from microdot.websocket import WebSocket, WebSocketError, websocket_upgrade

from host_sim.common.errors import InputError
from host_sim.panel.guard import COOKIE, Guard
from host_sim.panel.session import FRAME_S, Session

HERE = Path(__file__).parent
INDEX = "index.html"
TYPES = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
         ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
PAGES_AT_ONCE = 8
LONGEST_MESSAGE = 512
LOOK_S = FRAME_S / 2

# Closed, gone, or not talking as a page does: whatever it is, only this page ends.
ENDS_OF_A_PAGE = (WebSocketError, OSError, EOFError, UnicodeDecodeError)

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
                               "img-src 'self' data:; connect-src 'self'; base-uri 'none'; "
                               "form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def files() -> dict[str, tuple[bytes, str]]:
    """Everything that is served, by its path: content and type."""
    return {
        path.name: (path.read_bytes(), TYPES[path.suffix])
        for folder in ("page", "vendor") for path in (HERE / folder).iterdir()
        if path.suffix in TYPES
    }


class Server:
    """Serves one session to the pages that the guard lets in."""

    def __init__(self, session: Session, guard: Guard) -> None:
        self._session = session
        self._guard = guard
        self._files = files()
        self._pages = 0
        self._app = Microdot()
        self._app.before_request(self._admit)
        self._app.after_request(_harden)
        self._app.after_error_request(_harden)
        self._app.route("/live")(self._live)
        self._app.route("/")(self._page)
        self._app.route("/<name>")(self._file)
        Request.max_content_length = Request.max_body_length = 0  # nothing is posted here
        WebSocket.max_message_length = LONGEST_MESSAGE

    async def serve(self, port: int, ready: Callable[[], None]) -> None:
        """Serve until cancelled or the session has failed; `ready` is called once it does.

        Raises InputError where the address cannot be had.
        """
        address = self._guard.address
        try:
            await self._app.start_server(address, port, start_serving=False)
        except OSError as error:
            reason = error.strerror or error
            raise InputError(f"{address} port {port}: cannot be served: {reason}") from error
        server: asyncio.Server = self._app.server
        self._guard.port = server.sockets[0].getsockname()[1]
        try:
            await server.start_serving()
            ready()
            while not self._session.failure:
                await asyncio.sleep(FRAME_S)
        finally:
            server.close()  # pages that are open end with the loop

    async def _admit(self, request: Request) -> Response | None:
        headers = {name.lower(): value for name, value in request.headers.items()}
        why = self._guard.refusal(
            headers, request.cookies.get(COOKIE, ""), request.args.get("token", ""),
            live=request.path == "/live")
        return Response(why, 403) if why else None

    async def _page(self, request: Request) -> Response:
        response = await self._file(request, INDEX)
        if self._guard.token:  # what the page asks for in its turn comes without the token
            response.headers["Set-Cookie"] = (
                f"{COOKIE}={self._guard.token}; Path=/; HttpOnly; SameSite=Strict")
        return response

    async def _file(self, _: Request, name: str) -> Response:
        if name not in self._files:
            return Response("there is no such page", 404)
        content, kind = self._files[name]
        return Response(content, headers={"Content-Type": kind})

    async def _live(self, request: Request) -> Response:
        if self._pages >= PAGES_AT_ONCE:
            return Response(f"{PAGES_AT_ONCE} pages are open already", 503)
        socket = await websocket_upgrade(request)
        self._pages += 1
        with suppress(asyncio.CancelledError):  # the server ends, and with it every page
            await self._talk(socket)
        self._pages -= 1
        return Response.already_handled

    async def _talk(self, socket: WebSocket) -> None:
        """Send and receive until either ends."""
        try:
            async with asyncio.TaskGroup() as both:
                both.create_task(self._send(socket))
                both.create_task(self._receive(socket))
        except* ENDS_OF_A_PAGE:
            pass

    async def _send(self, socket: WebSocket) -> None:
        """Send every frame, at the pace at which this page takes them."""
        cursor = None
        while True:
            texts, cursor = self._session.feed.since(cursor)
            for text in texts:
                await socket.send(text)
            await asyncio.sleep(LOOK_S)

    async def _receive(self, socket: WebSocket) -> None:
        while True:
            refused = self._session.ask(await socket.receive())
            if refused:
                await socket.send(json.dumps({"refused": refused}))


async def _harden(_: Request, response: Response) -> Response:
    response.headers.update(HEADERS)
    return response

"""The head of a request, taken apart. Pure, strict, and only ever given a few kilobytes."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import unquote

END = b"\r\n\r\n"
LONGEST_HEAD = 16384  # bytes; the cookies of other programs on this computer come along


class BadHead(Exception):
    """What is no request, or one that nobody here answers; `status` is the answer to it."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


@dataclass(frozen=True)
class Head:
    """A GET request. `headers` are by lower-case names; `path` is without what was asked of it."""

    path: str
    headers: dict[str, str]


def parse_head(data: bytes) -> Head:
    """The request of these bytes, END with them. Raises BadHead.

    A name that comes twice is refused: two readers might each take another one of the two.
    """
    try:
        first, *lines = data.removesuffix(END).decode("ascii").split("\r\n")
        method, target, version = first.split(" ")
        fields = [line.split(":", 1) for line in lines]
        headers = {name.lower(): value.strip() for name, value in fields}
    except ValueError:
        raise BadHead(400, "this is no request") from None
    if not version.startswith("HTTP/1.") or len(headers) != len(fields):
        raise BadHead(400, "this is no request")
    if method != "GET":
        raise BadHead(405, "nothing but GET is answered here")
    if headers.get("content-length", "0") != "0" or "transfer-encoding" in headers:
        raise BadHead(413, "nothing is posted here")
    return Head(unquote(target.partition("?")[0]), headers)

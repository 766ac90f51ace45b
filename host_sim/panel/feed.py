"""What the pages are shown: made by one thread, read by any number of pages, bounded.

A page that opens gets everything kept as one frame, then the frames as they come. One that
falls so far behind that frames are gone begins anew. Memory does not grow with time or pages.
"""

from __future__ import annotations

import json
import threading
from collections import deque
from typing import Any

FRAMES = 50  # five seconds
ROWS = 3000  # five minutes of simulated time, a row each 0.1 s
CELLS = 2000  # metres of the way
SLABS = 3000  # six kilometres of the way
LISTS = {"rows": ROWS, "cells": CELLS, "believed": CELLS, "true_slabs": SLABS,
         "believed_slabs": SLABS}

Frame = dict[str, Any]


class Feed:
    """Frames are dicts: lists by the names of LISTS, and whatever else has changed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._first = self._next = 0  # numbers of the frames that are kept
        self._texts: deque[str] = deque(maxlen=FRAMES)
        self._kept: dict[str, deque[Any]] = {}
        self._latest: Frame = {}

    def begin(self, hello: Frame) -> None:
        """Another controller, or another machine: every page begins anew."""
        with self._lock:
            self._kept = {name: deque(maxlen=size) for name, size in LISTS.items()}
            self._latest = {"hello": hello}
            self._texts.clear()
            self._first = self._next = self._next + 1

    def publish(self, frame: Frame) -> None:
        """Show the next frame."""
        text = _compact(frame)
        with self._lock:
            for name, value in frame.items():
                if name in self._kept:
                    self._kept[name].extend(value)
                else:
                    self._latest[name] = value
            self._texts.append(text)
            self._next += 1
            self._first = self._next - len(self._texts)

    def tell(self, frame: Frame) -> None:
        """Show a frame to the pages that are open, and to none that opens later."""
        text = _compact(frame)
        with self._lock:
            self._texts.append(text)
            self._next += 1
            self._first = self._next - len(self._texts)

    def since(self, cursor: int | None) -> tuple[list[str], int]:
        """The frames after a cursor, None for a page that has just opened, and the next cursor."""
        with self._lock:
            if cursor is not None and self._first <= cursor <= self._next:
                skip = cursor - self._first
                return [text for i, text in enumerate(self._texts) if i >= skip], self._next
            everything = self._latest | {name: list(kept) for name, kept in self._kept.items()}
            following = self._next
        return [_compact(everything)], following


def _compact(frame: Frame) -> str:
    return json.dumps(frame, separators=(",", ":"), allow_nan=False)

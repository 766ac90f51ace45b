"""A client and a hand-driven application on one pipe, with a line that may lose things."""

from __future__ import annotations

import random
from collections.abc import Callable

from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import PipePort
from rate_control.units import TICK_MS
from tests.support.link_rig import LinkRig

Spoil = Callable[[bytes], bytes]


class SpoiledPort(PipePort):
    """A pipe whose line spoils what is sent in either direction.

    `spoil` is given each piece in turn and returns what arrives of it.
    """

    spoil: Spoil = staticmethod(lambda data: data)
    broken = False

    def read(self, limit: int, /) -> bytes:
        if self.broken:
            raise OSError(5, "cable pulled")
        return self.spoil(super().read(limit))[:limit]

    def write(self, data: bytes, /) -> None:
        if self.broken:
            raise OSError(5, "cable pulled")
        super().write(self.spoil(data))


class Pair:
    """Both ends; the application's time goes on while the client waits."""

    def __init__(self, **client_arguments: object) -> None:
        self.rig = LinkRig()
        self.switches = 0
        self.speed_hz = 0
        self.ticks = 0
        self.port = SpoiledPort(self._advance, lambda: self.ticks * TICK_MS / 1000)
        self.rig.link._stream = self.port.board_end
        self.client = LinkClient(self._open, chance=random.Random(1), **client_arguments)
        self.opened = 0

    def _open(self) -> SpoiledPort:
        if self.port.broken:
            raise OSError(2, "no such port")
        self.opened += 1
        return self.port

    def _advance(self) -> None:
        self.ticks += 1
        self.rig.ticks(1, self.switches, self.speed_hz, polls=8)

"""Feeds the CAN receiver with damaged frames, by the chip's registers and the line to it.

    python -m tests.support.can_fuzz [COUNT]

Each is refused, or means what it says. What it says is read again here in another way: by struct,
floats and the identifier's own number. Some frames are damaged on the bus, as one that slips
through its checksum, some on the SPI line, where there is none.
"""

from __future__ import annotations

import argparse
import math
import struct
import sys
from random import Random

import host_sim  # noqa: F401  (it puts firmware/ on the path before the next imports)
from app.can_messages import COURSE_PGN, GROUND_SPEED_PGN, POSITION_PGN, WHEEL_SPEED_PGN
from app.gnss import CAN_GNSS, CAN_GROUND, CAN_WHEEL
from host_sim.common.arguments import count
from tests.support.can_rig import CanRig, can_frame

SOUND = (
    (POSITION_PGN, b"\x82\x9f\x49\x17\x43\x83\x6c\xd2"),
    (COURSE_PGN, b"\xff\xfc\xe1\x51\xf6\x00\xff\xff"),
    (GROUND_SPEED_PGN, b"\xda\x0a\x00\x00\x00\x00\x00\x01"),
    (WHEEL_SPEED_PGN, b"\xda\x0a\x00\x00\x00\x00\x00\x01"),
)
OWN = {CAN_GROUND: (GROUND_SPEED_PGN,), CAN_WHEEL: (WHEEL_SPEED_PGN,),
       CAN_GNSS: (POSITION_PGN, COURSE_PGN)}
EDGES = (0x00, 0x01, 0x7F, 0x80, 0xFA, 0xFB, 0xFC, 0xFD, 0xFE, 0xFF)


class Place:
    """Keeps what the position is given."""

    reader = None

    def follow(self, _):
        """See app.position.Position."""


def frame(rng: Random) -> tuple[int, bytes, int, int]:
    """Identifier, data, whether it is of 29 bits, whether it asks: with a few changes, or none."""
    pgn, data = rng.choice(SOUND)
    identifier, _ = can_frame(pgn, data, rng.choice((1, 2, 250)), rng.randrange(8))
    changed = bytearray(data)
    for _ in range(rng.randrange(5)):
        changed[rng.randrange(8)] = rng.choice((rng.randrange(256), rng.choice(EDGES)))
    if rng.random() < 0.2:
        identifier ^= 1 << rng.randrange(29)
    if rng.random() < 0.1:
        del changed[rng.randrange(8):]
    extended = int(rng.random() < 0.95)
    return identifier if extended else identifier & 0x7FF, bytes(changed), extended, int(
        rng.random() < 0.05)


def speed_of(pgn: int, data: bytes) -> tuple[int, int]:
    """Whether a message tells a speed, and which, in mm/s."""
    if pgn == COURSE_PGN:
        raw = struct.unpack_from("<H", data, 4)[0]
        return int(raw < 0xFFFD), raw * 10
    raw = struct.unpack_from("<H", data)[0]
    return int(raw < 0xFB00), raw


def check_place(reader, data: bytes) -> None:
    """See that a place is what a message says, or none where it says none."""
    told = [value / 1e7 for value in struct.unpack("<ii", data)]
    possible = abs(told[0]) <= 90 and abs(told[1]) <= 180
    assert reader.quality == int(possible), data
    if possible:
        for value, degrees, rest in zip(told, (reader.latitude_deg, reader.longitude_deg),
                                        (reader.latitude_e7, reader.longitude_e7), strict=True):
            assert 0 <= rest < 10**7 and round(value * 1e7) == degrees * 10**7 + rest, data


def check_course(reader, data: bytes, courses: int) -> None:
    """See that a course is what a message says."""
    reference, raw, speed = struct.unpack_from("<xBHH", data)
    told = reference & 3 == 0 and raw <= 62832 and 30 <= speed < 0xFFFD
    assert reader.courses == courses + int(told), data
    if told:
        off = (reader.course_cdeg / 100 - math.degrees(raw * 1e-4) + 180) % 360 - 180
        assert 0 <= reader.course_cdeg < 36000 and abs(off) <= 0.0051, data


def on_the_bus(rig: CanRig, rng: Random) -> int:
    """Let a damaged frame pass; return whether it was taken."""
    identifier, data, extended, remote = frame(rng)
    rig.chip.hear(identifier, data, extended, remote)
    pgn = identifier >> 8 & 0x3FFFF
    before = rig.told()[0]
    reader = rig.position.reader
    fixes, courses = (reader.fixes, reader.courses) if reader else (0, 0)
    rig.poll()
    rig.poll(5, 600_000)  # whoever sent before is forgotten
    sound = extended and not remote and len(data) == 8 and pgn in OWN[rig.settings.can_use]
    speaks = sound and pgn != POSITION_PGN
    assert rig.told()[0] == before + int(bool(speaks)), (identifier, data)
    if speaks:
        trusted, speed_mm_s = speed_of(pgn, data)
        assert rig.told()[1] == trusted and (not trusted or rig.told()[2] == speed_mm_s), data
    if reader:
        assert reader.fixes == fixes + int(bool(sound and pgn == POSITION_PGN)), data
        if sound and pgn == POSITION_PGN:
            check_place(reader, data)
        elif sound:
            check_course(reader, data, courses)
        else:
            assert reader.courses == courses
    return int(bool(sound))


def on_the_line(rig: CanRig, rng: Random) -> None:
    """Let anything come back over SPI for a while; nothing is raised, and it works again then."""
    exchange = rig.chip.exchange

    def damaged(out, back):
        exchange(out, back)
        for index in range(len(back)):
            if rng.random() < 0.3:
                back[index] = rng.choice((rng.randrange(256), rng.choice(EDGES)))

    rig.chip.exchange = damaged
    rig.poll(rng.randrange(1, 500))
    rig.chip.exchange = exchange
    rig.poll(450)
    rig.poll(5, 600_000)


def run(cases: int, seed: int = 0) -> tuple[int, int]:
    """Try so many frames; return how many, and how many of them were taken."""
    rng = Random(f"can {seed}")
    taken = done = 0
    rigs = []
    for use in OWN:
        rig = CanRig(use)
        rig.position = Place()
        rig.fit().poll(2)
        rigs.append(rig)
    while done < cases:
        rig = rigs[done % len(rigs)]
        if done % 97 == 0:
            on_the_line(rig, rng)
        taken += on_the_bus(rig, rng)
        done += 1
    for rig in rigs:
        assert rig.chip.acknowledged == rig.chip.send == 0
    return done, taken


def main() -> None:
    """Run it and say what was done."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.can_fuzz",
                                     description="damaged CAN frames against the receiver")
    parser.add_argument("count", nargs="?", type=count, default=20000, help="frames, 20000")
    done, taken = run(parser.parse_args().count)
    print(f"{done:,} frames: {taken:,} taken as they say, {done - taken:,} refused")


if __name__ == "__main__":
    sys.exit(main())

"""Feeds the reader of positions with damaged sentences; each is refused, or means what it says.

    python -m tests.support.sentence_fuzz [COUNT]

Half of them get a right checksum after the damage, so that it is the fields that are tried. What a
sentence says is read again here in another way: by a regular expression and exact fractions.
"""

from __future__ import annotations

import argparse
import re
import sys
from fractions import Fraction
from random import Random

import host_sim  # noqa: F401  (it puts firmware/ on the path before the next imports)
from app.nmea_position import NmeaPosition
from host_sim.common.arguments import count

SOUND = (
    b"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
    b"GNGGA,203415.000,6325.6138,N,01021.4290,E,4,8,2.42,72.5,M,41.5,M,,",
    b"GPGGA,034225.077,3356.4650,S,15124.5567,W,5,03,9.7,-25.0,M,21.0,M,,0000",
    b"GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A",
    b"GPVTG,45.5,T,67.5,M,30.45,N,56.40,K,D",
)
ALPHABET = b"0123456789.,NSEWAVDRFGPMCTK*$-+ \r\n\x00\xff"
ANGLE = r"(\d{%d})(\d\d(?:\.\d*)?),([%s])"
PLACE = ANGLE % (2, "NS") + "," + ANGLE % (3, "EW")
GGA = re.compile(r"[^P,][^,]GGA,[^,]*," + PLACE + r",([1-5])(,|$)")


def damaged(rng: Random) -> bytes:
    """A line with one to four changes, with its checksum."""
    body = bytearray(rng.choice(SOUND))
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(body)) if body else 0
        kind = rng.random()
        if kind < 0.5 and body:
            body[at] = rng.choice(ALPHABET)
        elif kind < 0.75:
            body.insert(at, rng.choice(ALPHABET))
        elif kind < 0.95 and body:
            del body[at]
        else:
            del body[at:]
    right = rng.random() < 0.5
    total = 0
    for byte in body if right else rng.choice(SOUND):
        total ^= byte
    return b"$%s*%02X\r\n" % (bytes(body), total)


def said(line: bytes) -> tuple[int, int, int] | None:
    """Quality, latitude and longitude in 1e-7 degrees that a GGA says, None where it says none."""
    starts = line.rfind(b"$")
    body, star, check = line[starts + 1 :].rstrip(b"\r\n").rpartition(b"*")
    total = 0
    for byte in body:
        total ^= byte
    if starts < 0 or not star or check.upper() != b"%02X" % total or len(body) > 97:
        return None
    if any(not 32 <= byte <= 126 for byte in body):
        return None
    found = GGA.match(body.decode("ascii"))
    if not found:
        return None
    angles = []
    for first, most in ((1, 90), (4, 180)):
        degrees, minutes, side = found.group(first, first + 1, first + 2)
        angle = int(degrees) + Fraction(minutes.rstrip(".")) / 60
        if Fraction(minutes.rstrip(".")) >= 60 or angle > most:
            return None
        angles.append(round(angle * 10**7) * (-1 if side in "SW" else 1))
    return int(found.group(7)), angles[0], angles[1]


def problem_with(line: bytes) -> str:
    """What the reader makes of a line that it must not, "" for nothing."""
    reader = NmeaPosition()
    reader.feed(line)
    fixed = reader.fixes and reader.quality
    expected = said(line) if b"\r" not in line[:-2] and b"\n" not in line[:-2] else None
    if not fixed:
        return f"{line!r} is refused" if expected else ""
    place = (reader.latitude_deg * 10**7 + reader.latitude_e7,
             reader.longitude_deg * 10**7 + reader.longitude_e7)
    if b"\r" in line[:-2] or b"\n" in line[:-2]:
        return ""  # two lines; each is tried elsewhere
    near = expected and reader.quality == expected[0] and all(
        abs(one - other) <= 1 for one, other in zip(place, expected[1:], strict=True))
    return "" if near else f"{line!r} is taken for {reader.quality}, {place}, says {expected}"


def run(count: int, seed: int = 1) -> tuple[int, list[str]]:
    """Try so many; returns how many were taken for a position, and what is wrong."""
    rng = Random(seed)
    taken, problems = 0, []
    for _ in range(count):
        line = damaged(rng)
        problem = problem_with(line)
        if problem:
            problems.append(problem)
        taken += said(line) is not None
    return taken, problems


def main() -> int:
    """Print the figures; 1 where something is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.sentence_fuzz",
                                     description=__doc__)
    parser.add_argument("sentences", nargs="?", type=count, default=100_000)
    sentences = parser.parse_args().sentences
    taken, problems = run(sentences)
    print(f"{sentences} damaged sentences: {taken} still say a position, "
          f"{len(problems)} taken wrongly")
    for problem in problems[:20]:
        print(problem)
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())

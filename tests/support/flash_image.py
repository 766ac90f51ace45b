"""A littlefs volume on a flash image whose power can fail in the middle of any operation."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from littlefs import LittleFS, UserContext
from littlefs.errors import LittleFSError

BLOCK = 4096  # erase size of the flash beside an RP2040
GEOMETRY = {
    "block_size": BLOCK,
    "block_count": 24,
    "prog_size": 256,
    "read_size": 32,
    "cache_size": 256,
    "lookahead_size": 32,
}
ERASED = 0xFF

# ("erase", block, 0, b"") or ("prog", block, offset, data)
Operation = tuple[str, int, int, bytes]


class Flash(UserContext):
    """The image, and every operation that changed it. NOR flash: programming only clears bits."""

    def __init__(self, image: bytearray) -> None:
        super().__init__(buffer=image)
        self.operations: list[Operation] = []

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        start = block * BLOCK + off
        assert not self.buffer[start : start + len(data)].strip(b"\xff"), "not erased before"
        self.operations.append(("prog", block, off, bytes(data)))
        return int(super().prog(cfg, block, off, data))

    def erase(self, cfg: Any, block: int) -> int:
        self.operations.append(("erase", block, 0, b""))
        self.buffer[block * BLOCK : (block + 1) * BLOCK] = b"\xff" * BLOCK
        return 0


class Volume:
    """The file system on a flash; open() behaves as MicroPython's built-in does."""

    def __init__(self, flash: Flash, format_it: bool = False) -> None:
        self._fs = LittleFS(flash, mount=False, **GEOMETRY)
        if format_it:
            self._fs.format()
        self._fs.mount()

    def open(self, name: str, mode: str) -> Any:
        """Open a file. Raises OSError, as MicroPython does, whatever the file system says."""
        try:
            return self._fs.open(name, mode)
        except LittleFSError as error:
            raise OSError(-error.code, str(error)) from error


def new_image() -> bytearray:
    """A freshly formatted image."""
    image = bytearray(b"\xff" * (BLOCK * GEOMETRY["block_count"]))
    Volume(Flash(image), format_it=True)
    return image


def apply(image: bytearray, operation: Operation) -> None:
    """Carry an operation out whole."""
    kind, block, offset, data = operation
    start = block * BLOCK + offset
    if kind == "erase":
        image[start : start + BLOCK] = b"\xff" * BLOCK
    else:
        image[start : start + len(data)] = data


def torn(image: bytearray, operation: Operation, chance: random.Random) -> bytearray:
    """A copy of the image with an operation carried out in part.

    A cut program leaves a part of its bytes, the last of them with some bits still set; a cut
    erase leaves a part of the block erased and the rest with bits that have begun to rise.
    """
    kind, block, offset, data = operation
    copy = bytearray(image)
    start = block * BLOCK + offset
    length = BLOCK if kind == "erase" else len(data)
    done = chance.randrange(length)
    if kind == "erase":
        rest = bytes(image[start + done : start + length])
        noise = int.from_bytes(chance.randbytes(len(rest)), "big")
        risen = (int.from_bytes(rest, "big") | noise).to_bytes(len(rest), "big")
        copy[start : start + length] = b"\xff" * done + risen
    else:
        copy[start : start + done] = data[:done]
        copy[start + done] = data[done] | chance.randrange(256)
    return copy


def cuts(
    before: bytearray, operations: list[Operation], chance: random.Random
) -> Iterator[tuple[int, bytearray]]:
    """What a cut leaves at each operation in turn: (index, image), clean before it and torn.

    `before` is the image before the first operation; it is moved on to after the last.
    """
    for index, operation in enumerate(operations):
        yield index, bytearray(before)
        yield index, torn(before, operation, chance)
        apply(before, operation)

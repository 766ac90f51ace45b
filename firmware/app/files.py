"""Where the store puts its slots: files of the board, or a memory that may always be written."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import IO, Protocol

    class Slots(Protocol):
        """Where the store keeps its slots."""

        def read(self, name: str) -> bytes:
            """Return the content of a slot, b"" where there is none."""

        def write(self, name: str, data: bytes) -> None:
            """Replace the content of a slot. Raises OSError."""

    class LogFiles(Slots, Protocol):
        """The same where files can grow, too."""

        def read(self, name: str, offset: int = 0, length: int = -1) -> bytes:
            """Return a piece of a file, see Files."""

        def append(self, name: str, data: bytes) -> None:
            """Add data to the end of a file. Raises OSError."""

    class Memory(Protocol):
        """A memory that keeps its content and is written byte by byte."""

        size: int

        def read(self, offset: int, length: int) -> bytes:
            """Return length bytes."""

        def write(self, offset: int, data: bytes) -> None:
            """Write data."""


class Files:
    """Files in a folder. open_file is the built-in open, or that of another volume."""

    def __init__(self, folder: str = "", open_file: "Callable[..., IO[bytes]]" = open) -> None:
        self._folder = folder
        self._open = open_file

    def read(self, name: str, offset: int = 0, length: int = -1) -> bytes:
        """Return the content of a slot, or a piece of it, b"" where there is none.

        An offset below 0 counts from the end.
        """
        try:
            with self._open(self._folder + name, "rb") as file:
                file.seek(offset, (offset < 0) * 2)  # 2: from the end
                return file.read(length)
        except OSError:
            return b""

    def write(self, name: str, data: bytes) -> None:
        """Replace the content of a slot. Raises OSError."""
        with self._open(self._folder + name, "wb") as file:
            file.write(data)

    def append(self, name: str, data: bytes) -> None:
        """Add data to the end of a file, which is made where there is none. Raises OSError."""
        with self._open(self._folder + name, "ab") as file:
            file.write(data)


class MemorySlots:
    """Slots in a memory that keeps its content and is written byte by byte without an erase.

    FRAM and battery-backed RAM are such; a board offers it as an object with size,
    read(offset, length) and write(offset, data). Each of the names gets an equal share.
    """

    def __init__(self, memory: "Memory", names: tuple[str, ...]) -> None:
        self._memory = memory
        self._names = names
        self._share = memory.size // len(names)

    def read(self, name: str) -> bytes:
        """Return the content of a slot with whatever lies behind it."""
        return self._memory.read(self._offset(name), self._share)

    def write(self, name: str, data: bytes) -> None:
        """Replace the start of a slot; its first byte goes last, and is what makes it valid.

        Raises OSError where data does not fit.
        """
        if len(data) > self._share:
            raise OSError(28)  # no space left
        offset = self._offset(name)
        self._memory.write(offset, b"\0")
        self._memory.write(offset + 1, data[1:])
        self._memory.write(offset, data[:1])

    def _offset(self, name: str) -> int:
        return self._names.index(name) * self._share

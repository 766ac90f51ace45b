"""Reads the constants out of a module's bytecode (MicroPython documentation, ".mpy files").

The layout of version 6: four bytes of header, two counts, the names, then the objects, as
py/persistentcode.c of MicroPython loads them.
"""

FUN_TABLE, NONE, FALSE, TRUE, ELLIPSIS, STR, BYTES, INT, FLOAT, COMPLEX, TUPLE = range(11)
SINGLE = {FUN_TABLE: "functions", NONE: None, FALSE: False, TRUE: True, ELLIPSIS: ...}


class _Reader:
    def __init__(self, data):
        assert data[:2] == b"M\x06", "no bytecode of version 6"
        self._data = data
        self._at = 4

    def byte(self):
        self._at += 1
        return self._data[self._at - 1]

    def take(self, count):
        self._at += count
        return self._data[self._at - count:self._at]

    def count(self):
        """A number in groups of seven bits, the highest first."""
        number = 0
        while True:
            byte = self.byte()
            number = number << 7 | byte & 0x7F
            if not byte & 0x80:
                return number

    def skip_name(self):
        length = self.count()
        if not length & 1:  # else one of MicroPython's own names, by its number
            self.take((length >> 1) + 1)

    def constant(self):
        kind = self.byte()
        if kind in SINGLE:
            return SINGLE[kind]
        length = self.count()
        if kind == TUPLE:
            return tuple([self.constant() for _ in range(length)])
        text = self.take(length)
        if kind in (STR, BYTES):
            self.byte()  # the NUL at its end
            return text
        return {INT: int, FLOAT: float, COMPLEX: complex}[kind](text)


def constants(data):
    """Every constant object of a module, in the order of its table."""
    reader = _Reader(data)
    names, objects = reader.count(), reader.count()
    for _ in range(names):
        reader.skip_name()
    return [reader.constant() for _ in range(objects)]

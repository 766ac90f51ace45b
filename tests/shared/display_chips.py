"""Models of display controllers on I2C, written from their data sheets, for the driver tests."""


RIGHTWARDS = 2


class CharacterModule:
    """A 20 x 4 module: HD44780 behind a PCF8574 (low nibble: RS, RW, enable, light).

    Memory and instructions after Hitachi HD44780U, ADE-207-272, tables 4 and 6 (from memory):
    two lines of 40 cells at 0x00 and 0x40; the address counter goes from the end of one to the
    start of the other; at power-up 8 bits at a time. The glass shows the first 20 cells of each
    line in rows 1 and 2, the next 20 in rows 3 and 4.
    """

    ADDRESS = 0x27

    def __init__(self):
        self.memory = bytearray(b" " * 128)
        self.glyphs = bytearray(64)
        self.bytes_taken = 0
        self.on = 0
        self.light = 0
        self.cursor = 0
        self.shift = 0
        self._entry = RIGHTWARDS
        self.answers = 1
        self._wide = 1  # 8 bits at a time; only the upper four lines are wired
        self._nibble = None
        self._address = 0
        self._in_glyphs = 0
        self._enable = 0

    def writeto(self, address, data):
        """Take bytes as machine.I2C does."""
        if address != self.ADDRESS or not self.answers:
            raise OSError(19)
        for port in data:
            self.bytes_taken += 1
            assert not port & 2, "reading was asked for"
            self.light = port >> 3 & 1
            enable = port >> 2 & 1
            if self._enable and not enable:
                self._take_nibble(port >> 4, port & 1)
            self._enable = enable

    def lose_a_nibble(self):
        """What a spike on the enable line does."""
        self._take_nibble(0, 0)

    def _take_nibble(self, nibble, data):
        if self._wide:
            self._take(nibble << 4, data)
        elif self._nibble is None:
            self._nibble = nibble
        else:
            whole = self._nibble << 4 | nibble
            self._nibble = None
            self._take(whole, data)

    def _take(self, code, data):
        if data:
            self._store(code)
        elif code & 0x80:
            self._address = code & 0x7F
            self._in_glyphs = 0
        elif code & 0x40:
            self._address = code & 0x3F
            self._in_glyphs = 1
        elif code & 0x20:
            self._wide = code >> 4 & 1
            self._nibble = None
        elif code & 0x10:
            if code & 0x08:
                self.shift += 1 if code & 0x04 else -1
        elif code & 0x08:
            self.on = code >> 2 & 1
            self.cursor = code & 3
        elif code & 0x04:
            self._entry = code & 3
        elif code & 0x02:
            self._address = self.shift = self._in_glyphs = 0
        elif code & 0x01:
            self.memory[:] = b" " * 128
            self._address = self.shift = self._in_glyphs = 0
            self._entry = RIGHTWARDS

    def _store(self, code):
        if self._in_glyphs:
            self.glyphs[self._address] = code
            self._address = (self._address + 1) & 0x3F
            return
        self.memory[self._address] = code
        if self._entry & 1:
            self.shift += 1
        step = 1 if self._entry & RIGHTWARDS else -1
        line, place = self._address >> 6, (self._address & 0x3F) % 0x28
        place = 0x28 * line + place + step
        self._address = place % 0x28 | (place // 0x28 & 1) << 6

    def rows(self):
        """The four rows that the glass shows, none where it is off, shifted or has a cursor."""
        if not self.on or self.cursor or self.shift:
            return []
        first, second = self.memory[0x00:0x28], self.memory[0x40:0x68]
        return [bytes(first[:20]), bytes(second[:20]), bytes(first[20:]), bytes(second[20:])]


class GraphicModule:
    """A 128 x 64 module: SSD1306, its memory addressed page by page (data sheet, rev. 1.1)."""

    ADDRESS = 0x3C
    # instructions that are followed by one byte
    WITH_BYTE = (0xD5, 0xA8, 0xD3, 0x8D, 0x20, 0xDA, 0x81, 0xD9, 0xDB)

    def __init__(self):
        self.pages = [bytearray(b"\x55" * 128) for _ in range(8)]  # at power-up: anything
        self.on = 0
        self.answers = 1
        self.bytes_taken = 0
        self._page = 0
        self._column = 0

    def writeto(self, address, data):
        """Take bytes as machine.I2C does."""
        if address != self.ADDRESS or not self.answers:
            raise OSError(19)
        self.bytes_taken += len(data)
        if data[0] == 0x40:
            for byte in data[1:]:
                self.pages[self._page][self._column] = byte
                self._column = (self._column + 1) % 128
            return
        assert data[0] == 0
        index = 1
        while index < len(data):
            self._take(data[index])
            if data[index] == 0x20:
                assert data[index + 1] == 2, "page by page"
            index += 2 if data[index] in self.WITH_BYTE else 1

    def _take(self, code):
        if code & 0xF8 == 0xB0:
            self._page = code & 7
        elif code < 0x10:
            self._column = self._column & 0xF0 | code
        elif code < 0x20:
            self._column = self._column & 0x0F | (code & 7) << 4
        elif code in (0xAE, 0xAF):
            self.on = code & 1

    def dot(self, x, y):
        """Whether the dot is lit."""
        return self.pages[y >> 3][x] >> (y & 7) & 1

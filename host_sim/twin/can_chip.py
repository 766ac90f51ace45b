"""A CAN controller of the MCP2515 kind, register by register, and the bus that it hears.

It is what app/mcp2515.py talks to in the twin and in the tests, on every interpreter, so it is
plain Python. Source of registers, instructions and behaviour: MCP2515 data sheet (DS20001801), from
memory, like the driver: what both have wrong no test here can show.
"""

RESET, READ, WRITE, CHANGE, STATUS, RX_STATUS = 0xC0, 0x03, 0x02, 0x05, 0xA0, 0xB0
READ_BUFFER = (0x90, 0x92, 0x94, 0x96)
CANSTAT, CANCTRL, CNF3, CNF2, CNF1 = 0x0E, 0x0F, 0x28, 0x29, 0x2A
TEC, REC, CANINTF, EFLG = 0x1C, 0x1D, 0x2C, 0x2D
BUFFERS = (0x60, 0x70)
FILTERS = ((0x00, 0x04), (0x08, 0x10, 0x14, 0x18))  # of each buffer
MASKS = (0x20, 0x24)
CHANGEABLE = (0x0C, 0x0D, 0x0F, 0x28, 0x29, 0x2A, 0x2B, 0x2C, 0x2D, 0x30, 0x40, 0x50, 0x60, 0x70)
NORMAL, SLEEP, LOOPBACK, LISTEN, CONFIGURE = 0x00, 0x20, 0x40, 0x60, 0x80
DAMAGED, BUS_OFF = 0x80, 0x20
BUS_BITS_S = 250000
RATE_TOLERANCE = 0.015  # of two clocks on a bus, nearly (ISO 11783-2 asks for far less)


def can_frame(pgn: int, data: bytes, sender: int = 0x1C, priority: int = 3) -> "tuple[int, bytes]":
    """Return (identifier, data) of a message to all, of 29 bits."""
    return priority << 26 | pgn << 8 | sender, bytes(data)


class CanChip:
    """The chip; exchange() is its SPI side, hear() and disturb() the bus.

    mhz is what the firmware takes for its crystal, true_mhz what it is. While present is 0 the line
    carries `idle`. Counted are frames that it has `acknowledged` and instructions to `send`.
    """

    def __init__(self, mhz: int = 8, true_mhz: int = 0) -> None:
        self.mhz = mhz
        self.true_mhz = true_mhz or mhz
        self.present = 1
        self.idle = 0xFF
        self.acknowledged = 0
        self.send = 0
        self.exchanges = 0
        self.longest = 0
        self.registers = bytearray(128)
        self.reset()

    def reset(self) -> None:
        """As after power-up: configuration mode, everything at its default."""
        for index in range(128):
            self.registers[index] = 0
        self.registers[CANCTRL] = 0x87
        self.registers[CANSTAT] = CONFIGURE

    def mode(self) -> int:
        """Return the mode of operation."""
        return self.registers[CANSTAT] & 0xE0

    def exchange(self, out: bytearray, back: bytearray) -> None:
        """See app.mcp2515.CanPort."""
        self.exchanges += 1
        self.longest = max(self.longest, len(out))
        assert len(out) == len(back)
        for index in range(len(back)):
            back[index] = self.idle
        if not self.present:
            return
        instruction = out[0]
        if instruction == RESET:
            self.reset()
        elif instruction == READ:
            for index in range(2, len(out)):
                back[index] = self.read(out[1] + index - 2)
        elif instruction == WRITE:
            for index in range(2, len(out)):
                self.write(out[1] + index - 2, out[index])
        elif instruction == CHANGE:
            mask = out[2] if out[1] in CHANGEABLE else 0xFF
            self.write(out[1], self.read(out[1]) & ~mask & 0xFF | out[3] & mask)
        elif instruction == STATUS:
            for index in range(1, len(out)):
                back[index] = self.registers[CANINTF] & 3
        elif instruction in READ_BUFFER:
            self._read_buffer(READ_BUFFER.index(instruction), back)
        elif instruction & 0xF8 in (0x40, 0x80):  # load a buffer to send, or send it
            self.send += 1

    def _read_buffer(self, which: int, back: bytearray) -> None:
        start = BUFFERS[which >> 1] + (6 if which & 1 else 1)
        for index in range(1, len(back)):
            back[index] = self.registers[(start + index - 1) & 0x7F]
        self.registers[CANINTF] &= ~(1 << (which >> 1)) & 0xFF

    def read(self, address: int) -> int:
        """Return a register; status and control stand in every row."""
        address &= 0x7F
        if address & 0x0F in (CANSTAT, CANCTRL):
            address &= 0x0F
        return self.registers[address]

    def write(self, address: int, value: int) -> None:
        """Write a register, where the mode permits it."""
        address &= 0x7F
        if address & 0x0F == CANCTRL:
            self.registers[CANCTRL] = value
            self.registers[CANSTAT] = value & 0xE0
        elif address & 0x0F == CANSTAT or address in (TEC, REC):
            return
        elif address < 0x0C or 0x10 <= address < 0x1C or 0x20 <= address < 0x2B:
            if self.mode() == CONFIGURE:
                implemented = 0xEB if address < 0x20 and address & 3 == 1 else 0xFF
                implemented = 0xE3 if address in (0x21, 0x25) else implemented
                self.registers[address] = value & implemented
        elif address == EFLG:  # only the two of a full buffer can be written
            self.registers[EFLG] = self.registers[EFLG] & 0x3F | value & 0xC0
        elif address in BUFFERS:
            self.registers[address] = self.registers[address] & 0x0B | value & 0x64
        elif not (0x61 <= address < 0x6E or 0x71 <= address < 0x7E):
            self.registers[address] = value

    def bits_s(self) -> float:
        """Return the bit rate that it is set to, by the crystal that it has."""
        registers = self.registers
        quanta = (1 + (registers[CNF2] & 7) + 1 + (registers[CNF2] >> 3 & 7) + 1
                  + (registers[CNF3] & 7) + 1)
        return self.true_mhz * 1000000 / (2 * ((registers[CNF1] & 0x3F) + 1)) / quanta

    def listens(self) -> bool:
        """Return whether it hears the bus at all."""
        return bool(self.present) and self.mode() in (NORMAL, LISTEN)

    def disturb(self) -> None:
        """Let a damaged frame pass."""
        if self.listens():
            self.registers[CANINTF] |= DAMAGED

    def hear(self, identifier: int, data: bytes, extended: int = 1, remote: int = 0) -> None:
        """Let a frame of BUS_BITS_S pass."""
        if not self.listens():
            return
        if abs(self.bits_s() / BUS_BITS_S - 1) > RATE_TOLERANCE:
            self.disturb()
            return
        if self.mode() == NORMAL:
            self.acknowledged += 1
        head = bytearray(5)
        if extended:
            head[0] = identifier >> 21
            head[1] = identifier >> 13 & 0xE0 | 8 | identifier >> 16 & 3
            head[2] = identifier >> 8 & 0xFF
            head[3] = identifier & 0xFF
            head[4] = len(data) | (0x40 if remote else 0)
        else:
            head[0] = identifier >> 3
            head[1] = identifier << 5 & 0xE0 | (0x10 if remote else 0)
            head[4] = len(data)
        self._keep(head, data)

    def _keep(self, head: bytearray, data: bytes) -> None:
        """Put a frame into the buffer whose filters want it, if that is free."""
        registers = self.registers
        for which in range(2):
            if not self._wanted(which, head):
                continue
            if registers[CANINTF] & 1 << which and not which and registers[BUFFERS[0]] & 4:
                which = 1  # it rolls over
            if registers[CANINTF] & 1 << which:
                registers[EFLG] |= 0x40 << which
                return
            start = BUFFERS[which] + 1
            for index in range(5):
                registers[start + index] = head[index]
            for index in range(len(data)):
                registers[start + 5 + index] = data[index]
            registers[CANINTF] |= 1 << which
            return

    def _wanted(self, which: int, head: bytearray) -> bool:
        if self.registers[BUFFERS[which]] & 0x60 == 0x60:
            return True  # filters are off
        mask = self.registers[MASKS[which]:MASKS[which] + 4]
        for start in FILTERS[which]:
            wanted = self.registers[start:start + 4]
            if (wanted[1] ^ head[1]) & 8:
                continue
            if all(not (wanted[index] ^ head[index]) & mask[index] & (0xE3 if index == 1 else 0xFF)
                   for index in range(4)):
                return True
        return False

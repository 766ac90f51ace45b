"""An emulated RP2040 that boots a MicroPython image, with the wires that a bench would have.

Where the emulator (PyPI: rp2040py) falls short of the chip, it is made good here; what cannot be
is in docs/reference/emulated_chip.md. Time on the chip stands still between two calls.
"""

import asyncio
import tempfile
from pathlib import Path

from littlefs import LittleFS
from rp2040py.boards import BoardSpec, FlashLayout
from rp2040py.device.mp_device import MicroPythonDevice

UF2_BLOCK = 512
UF2_SIZE, UF2_DATA = 16, 32  # of a block: number of its bytes (32 bits), and where they begin
SECTOR = 4096
FLASH_BYTES = 2 * 1024 * 1024
FILE_SYSTEM_BYTES = 1408 * 1024  # of MicroPython on this board, at the end of the flash
LAYOUT = FlashLayout(
    fs_start=FLASH_BYTES - FILE_SYSTEM_BYTES,
    fs_blockcount=FILE_SYSTEM_BYTES // SECTOR,
    fs_blocksize=SECTOR,
)
LITTLEFS_2_0 = 0x00020000  # MicroPython reads this version, whatever its own
BOOT_TIMEOUT_S = 60
RUN_TIMEOUT_S = 900  # against a hang only

# Section port (boards/rp2_pins.py): SPI0 with these two pins as latch and output enable.
LATCH, SECTIONS_OFF = 5, 6


class ChipError(Exception):
    """A program on the chip raised; the text is what it printed."""


def holds(uf2, name):
    """Whether the program in a UF2 file has these bytes in it, over the bounds of its blocks."""
    data = uf2.read_bytes()
    blocks = (data[start : start + UF2_BLOCK] for start in range(0, len(data), UF2_BLOCK))
    return name in b"".join(
        block[UF2_DATA : UF2_DATA + int.from_bytes(block[UF2_SIZE : UF2_SIZE + 4], "little")]
        for block in blocks
    )


def flash_image(folder):
    """A file system for the chip's flash with everything in a folder."""
    volume = LittleFS(
        block_size=SECTOR, block_count=LAYOUT.fs_blockcount, prog_size=256, read_size=32,
        cache_size=1024, lookahead_size=32, disk_version=LITTLEFS_2_0,
    )
    for path in sorted(folder.rglob("*")):
        name = "/" + path.relative_to(folder).as_posix()
        if path.is_dir():
            volume.mkdir(name)
        else:
            with volume.open(name, "wb") as file:
                file.write(path.read_bytes())
    return bytes(volume.context.buffer)


def let_interrupts_be_cleared(uart):
    """The emulator asks for the transmit interrupt anew whenever it is cleared, for ever."""

    def check_interrupts():
        pending = uart._interrupt_status & uart._interrupt_mask
        uart.rp2040.set_interrupt(uart.irq, bool(pending))

    uart.check_interrupts = check_interrupts


class ShiftRegisters:
    """A 74HCT595 and a 74HC165 on SPI0; the plug leads each output to the input of its number.

    The emulator's SPI speaks in whole bytes, so this listens to those and to the latch pin.
    """

    def __init__(self, chip):
        self._chip = chip
        self._shifted = self.shown = 0
        self._loaded = 0xFF
        self.plugged = True
        self.closed = 0
        chip.mcu.spi[0].on_transmit = self._transmit
        chip.on_change(LATCH, self._latch)

    def _transmit(self, byte):
        self._shifted, loaded = byte, self._loaded
        self._loaded = 0xFF
        self._chip.mcu.spi[0].complete_transmit(loaded)

    def _latch(self, level):
        if level:
            self.shown = self._shifted
        else:
            self._loaded = self.outputs() if self.plugged else 0xFF & ~self.closed

    def outputs(self):
        """What the valves see: nothing while the outputs are off, for they are pulled down."""
        return 0 if self._chip.output(SECTIONS_OFF) else self.shown


class EmulatedChip:
    """Use it in a with block. files is a folder that becomes the flash's file system."""

    def __init__(self, uf2, files):
        self._runner = asyncio.Runner()
        with tempfile.TemporaryDirectory() as folder:
            image = Path(folder, "flash.img")
            image.write_bytes(flash_image(files))
            spec = BoardSpec(image=uf2, layout=LAYOUT)
            self._device = MicroPythonDevice(board=spec, filesystem=image)
        self.mcu = self._device.mcu
        for uart in self.mcu.uart:
            let_interrupts_be_cleared(uart)
        self._listeners = []

    def __enter__(self):
        self._runner.run(self._device.astart(BOOT_TIMEOUT_S))
        return self

    def __exit__(self, *_):
        self._device.stop()
        self._runner.close()

    @property
    def nanos(self):
        """The chip's own time."""
        return self._device.simulator.clock.nanos

    def run(self, program):
        """Run a program by the raw REPL and return what it printed. Raises ChipError."""
        out, error = self._runner.run(self._device.aexec(program, RUN_TIMEOUT_S))
        if error:
            raise ChipError(out.decode() + error.decode())
        return out.decode()

    def live(self, seconds):
        """Let the chip live on for this long, by its own clock."""
        self._runner.run(self._until(self.nanos + seconds * 1e9))

    async def _until(self, nanos):
        while self.nanos < nanos:
            await asyncio.sleep(0.01)

    def output(self, pin):
        """Level that the chip drives on a pin, or that its pull resistor gives."""
        gpio = self.mcu.gpio[pin]
        return int(gpio.output_value if gpio.output_enable else gpio.pullup_enabled)

    def drives(self, pin):
        """Whether the chip drives the pin at all."""
        return bool(self.mcu.gpio[pin].output_enable)

    def on_change(self, pin, listener):
        """Call listener(level) whenever the chip drives the pin to another level."""
        gpio = self.mcu.gpio[pin]
        last = [None]

        def changed(*_):
            level = self.output(pin)
            if level != last[0]:
                last[0] = level
                listener(level)

        gpio.add_listener(changed)
        self._listeners.append(changed)

    def wire(self, source, *targets):
        """Lead an output to inputs; a pin among its own targets reads what it drives.

        On the chip every input sees its own pad. The emulator does not lead it back by itself.
        """
        inputs = [self.mcu.gpio[target] for target in targets]

        def follow(level):
            for gpio in inputs:
                gpio.set_input_value(bool(level))

        self.on_change(source, follow)

"""What the boards' own code does beyond the contract, above fake chips."""

import pytest

from app.gnss import Gnss
from app.keys import RawKeys
from app.mcp2515 import Mcp2515
from host_sim.twin.can_chip import CanChip, can_frame
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Outputs
from rate_control.units import BY_GNSS
from tests.contract.fake_bench import ShiftRegisters
from tests.fakes.chip import Chip, ChipReset, Square, Steady
from tests.fakes.modules import Installed
from tests.support.card_rig import TimedCard, done, sector, started

CLOCKWISE = ((1, 0), (1, 1), (0, 1), (0, 0))  # levels of A and B, from rest
WATCHDOG_REASON = 0x40058008


@pytest.fixture
def chip():
    chip = Chip()
    with Installed(chip):
        yield chip


def rp2_board():
    from boards.rp2_board import Rp2Board

    return Rp2Board()


def test_rings_are_carried_on_after_a_lap_of_the_transfer_count(chip, monkeypatch):
    """Two DMA channels take turns; with a short count that happens in the test."""
    from boards import rp2_pulses

    monkeypatch.setattr(rp2_pulses, "WORDS_A_LAP", 8)  # two edges a lap
    board, inputs = rp2_board(), Inputs()
    start = chip.ns + 1_000_000
    chip.connect(18, Steady(0))
    chip.advance(500)
    chip.connect(18, Square(start, 200_000, 100_000, 25))
    chip.advance(10_000)
    board.read(inputs)
    assert inputs.speed_count == 25
    assert (inputs.speed_edge_us - (start + 24 * 200_000) // 1000) & LIMIT <= 2


class TornWords:
    """A ring that DMA rewrites while it is read: each reading of a word may change it."""

    def __init__(self, states):
        self.states = states  # what the ring holds at each of the following readings
        self.reads = 0

    def __getitem__(self, index):
        state = self.states[min(self.reads, len(self.states) - 1)]
        self.reads += 1
        return state[index]


def edge(time, count):
    """The four words that an edge leaves, as the state machine counts: down from 0."""
    return [-time & LIMIT, -count & LIMIT, -time & LIMIT, -count & LIMIT]


def halfway(old, new, written):
    """The ring while the first so many words of a new edge are written."""
    return new[:written] + old[written:]


@pytest.mark.parametrize("written", range(5))
@pytest.mark.parametrize("at", range(4))
def test_count_and_time_belong_together_wherever_the_next_edge_comes(chip, written, at):
    """The next edge is written, in part or whole, after any of the readings."""
    from boards.rp2_pulses import PulseInput

    board = rp2_board()
    pulses = board._speed
    assert isinstance(pulses, PulseInput)
    old, new = edge(1000, 5), edge(1500, 6)
    pulses._words = TornWords([old] * at + [halfway(old, new, written)] + [new] * 20)
    pulses.update()
    time = (pulses.edge_us - pulses._start_us) & LIMIT
    assert (pulses.count, time) in ((5, 1000), (6, 1500))


def test_torn_reading_would_be_noticed_by_the_test():
    """The words alone, read in the order of their addresses, do give a wrong pair."""
    old, new = edge(1000, 5), edge(1500, 6)
    ring = TornWords([old, halfway(old, new, 3)])
    pair = ring[1], ring[2]
    assert (-pair[0] & LIMIT, -pair[1] & LIMIT) == (5, 1500)


def test_noise_faster_than_a_reading_does_not_hold_the_tick_up(chip):
    board = rp2_board()
    noise = TornWords([edge(n, n) for n in range(1000)])
    board._speed._words = noise
    board._speed.update()
    assert noise.reads <= 3 * 8


@pytest.mark.parametrize(
    ("registers", "cause"),
    [({}, "power"), ({WATCHDOG_REASON: 1}, "watchdog"), ({WATCHDOG_REASON: 2}, "soft")],
)
def test_reset_cause_is_told_from_the_registers(chip, registers, cause):
    chip.registers.update(registers)
    assert rp2_board().reset_cause() == cause


def test_second_start_without_a_reset_is_soft(chip):
    assert rp2_board().reset_cause() == "power"
    assert rp2_board().reset_cause() == "soft"


def test_released_board_is_not_reset(chip):
    board = rp2_board()
    board.start_tick(lambda _: None, 50_000)
    board.feed_watchdog()
    board.release()
    chip.advance(5_000_000)  # would raise ChipReset
    with pytest.raises(ChipReset):
        board.start_tick(lambda _: None, 50_000)
        chip.advance(5_000_000)


def test_encoder_counts_every_quarter_step_both_ways(chip):
    board, raw = rp2_board(), RawKeys()
    a, b = 10, 11
    chip.drive(a, 0)
    chip.drive(b, 0)
    board.read_keys(raw)
    before = raw.quarters
    for level_a, level_b in CLOCKWISE * 3:
        chip.drive(a, level_a)
        chip.drive(b, level_b)
    board.read_keys(raw)
    assert raw.quarters - before & LIMIT == 12
    for level_a, level_b in tuple(reversed(CLOCKWISE[:3])) + ((0, 0),):
        chip.drive(b, level_b)
        chip.drive(a, level_a)
    board.read_keys(raw)
    assert raw.quarters - before & LIMIT == 8


def test_bounce_of_one_contact_comes_to_nothing(chip):
    board, raw = rp2_board(), RawKeys()
    chip.drive(10, 0)
    chip.drive(11, 0)
    board.read_keys(raw)
    before = raw.quarters
    for level in (1, 0, 1, 0, 1, 0):
        chip.drive(10, level)
    board.read_keys(raw)
    assert raw.quarters == before


def test_keys_lamp_and_buzzer(chip):
    board, raw = rp2_board(), RawKeys()
    chip.drive(12, 0)
    board.read_keys(raw)
    assert (raw.push, raw.back) == (1, 0)
    board.signal(1, 0)
    assert (chip.level(14), chip.level(15)) == (1, 0)


def test_no_display_is_none_and_looked_for_once(chip):
    assert rp2_board().display() is None


def test_gnss_receiver_is_read_from_the_uart_or_not_at_all(chip, monkeypatch):
    from boards import wiring

    board = rp2_board()
    stream = board.gnss_stream()
    assert (stream.baudrate, stream.pins) == (wiring.GNSS_BAUD, (0, 1))
    chip.received = b"$GPVTG,,T,,M,9.7,N,18.0,K,A*14\r\n"
    inputs = Inputs()
    Gnss(stream, inputs, board.now_us).poll()
    told = inputs.reports[BY_GNSS - 1]
    assert (told.count, told.trusted, told.speed_mm_s) == (1, 1, 4990)
    assert not chip.received
    monkeypatch.setattr(wiring, "GNSS_BAUD", 0)
    assert board.gnss_stream() is None


class SharedBus:
    """The section registers and a CAN chip on the same lines; the select pin says who is meant."""

    def __init__(self, chip):
        self.can = CanChip()
        self.registers = ShiftRegisters(chip, latch=5, off=6)
        self.chip = chip
        chip.spi_device = self

    def shift(self, out, into):
        if not self.chip.level(27):
            self.can.exchange(out, into)
        self.registers.shift(out[-1:], into if self.chip.level(27) else bytearray(1))


def test_can_chip_shares_the_lines_and_no_section_opens_by_it(chip, monkeypatch):
    from boards import wiring

    monkeypatch.setattr(wiring, "CAN_MHZ", 8)
    bus = SharedBus(chip)
    board, inputs, outputs = rp2_board(), Inputs(), Outputs()
    port = board.can_port()
    assert port.mhz == 8
    driver = Mcp2515(port, 129026, 129025)
    outputs.section_mask = 0b101
    board.write(outputs)
    driver.reset()
    assert driver.configure() and driver.check()
    bus.can.hear(*can_frame(129026, b"\xff" * 8, 0xFF))
    assert driver.take() and driver.pgn == 129026
    assert bus.registers.shown == 0b101
    bus.registers.closed = 0b11
    board.read(inputs)  # shows what the registers hold
    assert bus.registers.shown == 0b101 and inputs.switches >> 2 == 0b11
    driver.take()
    board.make_safe()
    driver.check()
    board.read(inputs)
    assert bus.registers.shown == 0 and chip.level(27) == 1


def test_an_exchange_is_not_interrupted_and_lets_go_whatever_happens(chip, monkeypatch):
    import machine

    from boards import wiring

    monkeypatch.setattr(wiring, "CAN_MHZ", 16)
    held = []
    monkeypatch.setattr(machine, "disable_irq", lambda: held.append(1) or 4711)
    monkeypatch.setattr(machine, "enable_irq", lambda state: held.append(state))
    port = rp2_board().can_port()

    class Broken:
        def shift(self, out, into):
            held.append(chip.level(27))
            if len(out) > 1:
                raise OSError

    chip.spi_device = Broken()
    with pytest.raises(OSError):
        port.exchange(bytearray(2), bytearray(2))
    assert held == [1, 0, 1, 4711] and chip.level(27) == 1


def test_no_can_chip_unless_wiring_says_so(chip):
    assert rp2_board().can_port() is None


class CardBus:
    """The section registers and an SD card on the same lines; a tick comes after so many pieces."""

    def __init__(self, chip, monkeypatch):
        import machine

        from boards import wiring

        monkeypatch.setattr(wiring, "SD_CARD", 1)
        CardBus.present = self
        monkeypatch.setattr(machine, "enable_irq", lambda _: CardBus.present.interrupted())
        self.card = TimedCard(1000)
        self.registers = ShiftRegisters(chip, latch=5, off=6)
        self.chip = chip
        self.shown = {0b101}
        self.left = -1
        self.in_tick = False
        self.ticks = 0
        chip.spi_device = self
        chip.listeners[0] = [self.select]
        self.board, self.inputs, self.outputs = rp2_board(), Inputs(), Outputs()
        self.outputs.section_mask = 0b101
        self.registers.closed = 0b11
        self.tick()
        chip.listeners[5].append(lambda _: self.shown.add(self.registers.shown))

    def select(self, level):
        if not level:
            self.card.select()
        elif self.card.held:
            self.card.release()

    def shift(self, out, into):
        for index in range(len(out)):
            read = bytearray(1)
            self.registers.shift(out[index : index + 1], read)
            into[index] = read[0]
        if self.card.held:
            self.card.exchange(out, into)
        elif set(out) == {0xFF}:
            self.card._clocks += 8 * len(out)

    def interrupted(self):
        self.left -= 1
        if self.left == 0 and not self.in_tick:
            self.tick()

    def tick(self):
        """What a tick does with the lines, and what comes of it."""
        self.in_tick = True
        self.ticks += 1
        self.board.read(self.inputs)
        self.board.write(self.outputs)
        self.in_tick = False
        assert self.shown == {0b101} and self.inputs.switches >> 2 == 0b11
        assert self.chip.level(0) == 1


def test_card_shares_the_lines_and_a_tick_may_come_at_any_point(chip, monkeypatch):
    """No section opens by what passes for the card, and the card loses nothing."""
    for pieces in range(1, 60):
        bus = CardBus(chip, monkeypatch)
        bus.board.gnss_stream()  # its UART has the pin of the card for a moment
        port = bus.board.card_port()
        bus.board.gnss_stream()
        card = started(port)
        assert chip.spi_hertz == 1_000_000 and bus.card.wrong == []
        card.sector[:] = sector(7)
        bus.left = pieces
        done(bus.card, card.write, 7)
        bus.left = pieces
        card.sector[:] = bytes(512)
        done(bus.card, card.read, 7)
        assert bytes(card.sector) == sector(7), pieces
        bus.tick()
        assert bus.ticks == 4 or pieces > 25, pieces
    assert list(bus.card.sectors) == [7]


def test_no_card_unless_wiring_says_so(chip):
    assert rp2_board().card_port() is None


def test_the_implement_switch_reads_as_its_contact_is(chip):
    board, inputs = rp2_board(), Inputs()
    board.read(inputs)
    assert inputs.switches == 0  # open, or its wire is cut
    chip.drive(17, 0)
    board.read(inputs)
    assert inputs.switches == 2


@pytest.mark.parametrize(
    ("name", "value"),
    [("PUMP_HZ", 10), ("PUMP_HZ", 100_000),
     ("SUPPLY_FULL_MV", 1000), ("GNSS_BAUD", 300)],
)  # fmt: skip
def test_bad_wiring_is_refused_with_outputs_off(chip, monkeypatch, name, value):
    from boards import wiring

    monkeypatch.setattr(wiring, name, value)
    with pytest.raises(ValueError, match=name):
        rp2_board()
    assert chip.level(6) == 1  # sections off
    assert chip.level(7) == 0  # pump


def test_supply_stays_a_small_int_and_scales():
    from boards import wiring

    assert wiring.supply_mv(0) == 0
    assert wiring.supply_mv(65535) == wiring.SUPPLY_FULL_MV
    assert LIMIT >= 4095 * 60_000


def test_the_two_valve_outputs_are_never_on_together(chip):
    """The one that stops goes first; asked to turn round in the middle of a pulse."""
    board = rp2_board()
    both = []
    for pulse_ms in (50, -50, 50, -50):
        record = Outputs()
        record.valve_pulse_ms = pulse_ms
        board.write(record)
        for _ in range(500):
            chip.advance(10)
            both.append(chip.level(8) and chip.level(9))
    assert not any(both)


def test_safe_outputs_know_both_chips(chip):
    from boards.safe_outputs import pins_of

    assert pins_of("rp2").PUMP == 7
    assert pins_of("esp32").PUMP == 25

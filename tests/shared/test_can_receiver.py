"""What a CAN bus tells goes where a serial receiver's sentences go."""

from app.can_messages import COURSE_PGN, GROUND_SPEED_PGN, POSITION_PGN, WHEEL_SPEED_PGN
from app.can_receiver import DAMAGED, NO_ANSWER, NO_SLIP, NOT_WIRED
from app.gnss import CAN_GNSS, CAN_GROUND, CAN_WHEEL
from rate_control.units import BY_BOTH
from tests.support.can_rig import CanChip, CanRig, can_frame

TWO_M_S = b"\xd0\x07" + b"\xff" * 6
NONE = b"\xff" * 8
PLACE = b"\x82\x9f\x49\x17\x43\x83\x6c\xd2"
COURSE = b"\xff\xfc\xe1\x51\xf6\x00\xff\xff"
SECOND_US = 1000000


def started(can_use=CAN_GROUND, chip=None, **settings):
    rig = CanRig(can_use, chip, **settings).fit()
    rig.poll(2)
    return rig


def test_each_use_takes_its_own_speed():
    for use, mine in ((CAN_GROUND, GROUND_SPEED_PGN), (CAN_WHEEL, WHEEL_SPEED_PGN)):
        rig = started(use)
        for pgn in (WHEEL_SPEED_PGN, GROUND_SPEED_PGN):
            rig.hear(pgn, TWO_M_S)
        rig.hear(COURSE_PGN, COURSE)
        assert rig.told() == (1, 1, 2000)
        rig.hear(mine, NONE)
        assert rig.told() == (2, 0, 2000)
    rig = started(CAN_GNSS)
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    rig.hear(COURSE_PGN, COURSE)
    assert rig.told() == (1, 1, 2460)
    assert rig.notes == []


def test_only_its_own_message_counts_though_the_filters_let_all_pass():
    rig = started(CAN_GROUND)
    rig.chip.write(0x60, 0x60)
    rig.hear(COURSE_PGN, COURSE)
    rig.hear(WHEEL_SPEED_PGN, TWO_M_S)
    rig.hear(POSITION_PGN, PLACE)
    assert rig.told()[0] == 0
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    assert rig.told() == (1, 1, 2000)


class Place:
    """Stands in for app.position.Position."""

    def __init__(self):
        self.reader = None
        self.seen = []

    def follow(self, now_us):
        self.seen.append((self.reader.fixes, self.reader.courses, now_us))


def test_place_and_course_go_to_the_position():
    rig = CanRig(CAN_GNSS)
    rig.position = Place()
    rig.fit()
    rig.poll(2)
    rig.hear(POSITION_PGN, PLACE)
    rig.hear(COURSE_PGN, COURSE)
    assert [seen[:2] for seen in rig.position.seen] == [(1, 0), (1, 1)]
    assert rig.position.reader.latitude_deg == 39
    rig = CanRig(CAN_GROUND)
    rig.position = Place()
    rig.fit()
    rig.poll(2)
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    assert rig.position.reader is None and rig.position.seen == []  # that is the sentences' own


def test_no_port_is_told():
    rig = CanRig(CAN_GROUND)
    rig.can_port = lambda: None
    rig.fit()
    assert rig.notes == [NOT_WIRED] and rig.jobs.run is None
    rig = CanRig(CAN_GROUND, CanChip(20)).fit()
    assert rig.notes == [NOT_WIRED] and rig.jobs.run is None


def test_wheels_tell_no_slip():
    rig = CanRig(CAN_WHEEL, speed_source=BY_BOTH).fit()
    assert rig.notes == [NO_SLIP] and rig.jobs.run is None


def test_no_chip_is_told_once_and_asked_again_until_it_answers():
    chip = CanChip()
    chip.present = 0
    rig = started(chip=chip)
    assert rig.notes == [NO_ANSWER]
    rig.poll(1000)
    assert rig.notes == [NO_ANSWER]
    assert chip.exchanges < 20
    chip.present = 1
    rig.poll(220)
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    assert rig.told() == (1, 1, 2000)


def test_a_chip_that_loses_its_supply_is_started_anew():
    rig = started()
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    rig.chip.reset()
    rig.poll(450)
    assert rig.notes == [NO_ANSWER]
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    assert rig.told()[0] == 2


def test_a_chip_pulled_in_the_middle_says_nothing_whatever_the_line_carries():
    for idle in (0x00, 0x01, 0x02, 0x7F, 0xFE, 0xFF):
        rig = started()
        rig.hear(GROUND_SPEED_PGN, TWO_M_S)
        rig.chip.present = 0
        rig.chip.idle = idle
        rig.poll(400)
        assert rig.told() == (1, 1, 2000) and rig.notes == [NO_ANSWER], idle


def test_wrong_crystal_is_told_once():
    rig = started(chip=CanChip(8, true_mhz=16))
    for _ in range(100):
        rig.chip.hear(*can_frame(GROUND_SPEED_PGN, TWO_M_S))
        rig.poll(20)
    assert rig.notes == [DAMAGED] and rig.told()[0] == 0


def test_some_damage_among_good_frames_and_silence_are_not_told():
    rig = started()
    for number in range(100):
        rig.chip.disturb()
        if not number % 5:
            rig.hear(GROUND_SPEED_PGN, TWO_M_S)
        rig.poll(20)
    assert rig.notes == []
    rig.poll(2000)
    assert rig.notes == [] and rig.told()[0] == 20


def test_what_waited_during_a_pause_is_too_old():
    rig = started()
    rig.hear(GROUND_SPEED_PGN, TWO_M_S)
    rig.chip.hear(*can_frame(GROUND_SPEED_PGN, b"\x00" * 8))
    rig.poll(1, period_us=200000)
    assert rig.told() == (1, 1, 2000)
    rig.hear(GROUND_SPEED_PGN, b"\x00" * 8)
    assert rig.told() == (2, 1, 0)


def test_one_sender_is_followed_until_it_is_silent():
    rig = started()
    rig.hear(GROUND_SPEED_PGN, TWO_M_S, sender=1)
    rig.hear(GROUND_SPEED_PGN, b"\x00" * 8, sender=2)
    assert rig.told() == (1, 1, 2000)
    rig.poll(2 * SECOND_US // 5000)
    rig.hear(GROUND_SPEED_PGN, b"\x00" * 8, sender=2)
    assert rig.told() == (1, 1, 2000)
    rig.poll(SECOND_US // 5000)
    rig.hear(GROUND_SPEED_PGN, b"\x00" * 8, sender=2)
    assert rig.told() == (2, 1, 0)


def test_a_sender_that_never_knows_holds_no_place():
    """A tractor without a sensor of its own says so for ever; a receiver beside it knows."""
    rig = started()
    rig.hear(GROUND_SPEED_PGN, NONE, sender=1)
    assert rig.told()[:2] == (1, 0)
    rig.hear(GROUND_SPEED_PGN, TWO_M_S, sender=2)
    assert rig.told() == (2, 1, 2000)
    rig.hear(GROUND_SPEED_PGN, NONE, sender=1)
    assert rig.told() == (2, 1, 2000)
    rig.hear(GROUND_SPEED_PGN, NONE, sender=2)
    rig.hear(GROUND_SPEED_PGN, b"\x00" * 8, sender=1)  # the one that is followed may be lost
    assert rig.told()[:2] == (3, 0)
    rig = CanRig(CAN_GNSS)
    rig.position = Place()
    rig.fit()
    rig.poll(2)
    rig.hear(POSITION_PGN, b"\xff\xff\xff\x7f" * 2, sender=1)
    rig.hear(POSITION_PGN, PLACE, sender=2)
    assert rig.position.reader.quality == 1
    rig.hear(POSITION_PGN, b"\xff\xff\xff\x7f" * 2, sender=1)
    assert rig.position.reader.quality == 1


def test_bursts_of_ten_a_second_lose_neither_speed_nor_place():
    rig = CanRig(CAN_GNSS)
    rig.position = Place()
    rig.fit()
    rig.poll(2)
    for _ in range(20):
        for pgn, data in ((65096, TWO_M_S), (POSITION_PGN, PLACE), (COURSE_PGN, COURSE),
                          (65097, TWO_M_S), (129029, PLACE)):
            rig.chip.hear(*can_frame(pgn, data))
        rig.poll(20)
    assert rig.told()[0] == 20 and rig.position.reader.fixes == 20


def test_a_poll_is_bounded_however_much_comes():
    rig = started()
    rig.chip.exchanges = 0
    hear = rig.chip.exchange

    def flooded(out, back):
        rig.chip.hear(*can_frame(GROUND_SPEED_PGN, TWO_M_S))
        hear(out, back)

    rig.chip.exchange = flooded
    rig.poll()
    assert rig.chip.exchanges == 4

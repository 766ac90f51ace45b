"""Damaged CAN frames, on the bus and on the line to the chip."""

from tests.support.can_fuzz import run


def test_damaged_frames_are_refused_or_mean_what_they_say(record_property):
    """20,000 of them: `make fuzz`."""
    done, taken = run(3_000)
    record_property("summary", f"{done:,} damaged CAN frames: {taken:,} taken as they say")
    assert taken > done // 10

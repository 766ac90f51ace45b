"""A machine sized in the page gets the very answer of `size`."""

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.panel.commands import LONGEST, parse
from host_sim.panel.saver import BUSY_ASIDE, Saver
from host_sim.panel.size_answer import EXAMPLE, size_fields, size_told, sized


def words(text):
    """Without the room between columns, which follows the width."""
    return text.replace("\u2500", "").split()


def test_the_answer_is_that_of_the_verb(capsys):
    assert main(["size", "--rate", "80 L/ha", "--rate", "95 L/ha", "--speed", "6 to 12 km/h",
                 "--width", "3.5 m", "--sections", "2, 3, 2", "--outlet", "2.0 L/min at 3 bar",
                 "--outlet-pressure", "0.1 to 4 bar", "--pump", "M",
                 "--meter", "450 pulses/L"]) == 0
    assert words(sized(EXAMPLE, us=False)) == words(capsys.readouterr().out)
    assert sized(EXAMPLE, us=False).startswith("FITS: every rate")


def test_us_units_are_those_of_bare_numbers_and_of_the_answer():
    text = sized("rate = 10\nspeed = 4 to 8\nspacing = 20\nsections = 6, 6\n", us=True)
    assert "10.00 gal/ac at 4.0 to 8.0 mph" in text


@pytest.mark.parametrize(("text", "why"), [
    ("", "rate: is missing; for example '100 L/ha'"),
    ("rate = 80 L/ha\nspeed: 3", "line 2: must be NAME = VALUE, with the name of a field, is "
                                 "'speed: 3'"),
    ("rate = 80 furlongs\nspeed = 6 to 12 km/h\nwidth = 3 m\nsections = 2",
     "rate: unit 'furlongs' is none of L/ha, gal/ac")])
def test_what_is_wrong_is_told_in_the_words_of_the_lines(text, why):
    assert size_told(text, us=False) == {"size": {"why": why}}
    with pytest.raises(InputError):
        sized(text, us=False)


def test_a_message_has_room_for_every_field_at_its_example():
    lines = "".join(f"{name} = {example}\n" for name, example, _ in size_fields())
    assert len(lines) < 420 < LONGEST - 50
    name, _ = parse(f'["size", "{lines}", false]'.replace("\n", "\\n"))
    assert name == "size"


def test_what_fails_aside_is_said_and_only_one_thing_goes_on_at_a_time():
    news, saver = [], Saver()

    def fail():
        saver.aside(dict, news.append)
        raise ValueError("a bug")

    saver.aside(fail, news.append)
    saver._aside.join()
    assert news == [{"refused": BUSY_ASIDE}, {"refused": "it failed: ValueError: a bug"}]

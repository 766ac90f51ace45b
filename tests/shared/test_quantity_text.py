"""Every value that a person meets has words: settings, parameters of procedures, facts."""

from app.grid import COLUMNS
from app.quantity_text import choices, in_words, of_setting, read, show
from app.units_text import UNITS
from rate_control.procedures import catalogue
from rate_control.settings import NAME, UNIT
from rate_control.settings_table import TABLE

PLAIN_UNITS = ("", "pulses", "s")


def test_every_setting_is_a_quantity_or_a_plain_number():
    for entry in TABLE:
        quantity = of_setting(entry)
        assert quantity in UNITS or entry[UNIT] in PLAIN_UNITS or choices(entry), entry[NAME]


def test_every_parameter_has_a_quantity_and_short_words():
    for name, _, _, params, meaning in catalogue.CATALOGUE:
        assert 0 < len(meaning) <= 60, name
        for row in params:
            assert row[catalogue.P_QUANTITY] in UNITS or row[catalogue.P_QUANTITY] == "", row
            assert row[catalogue.P_LOW] <= row[catalogue.P_DEFAULT] <= row[catalogue.P_HIGH], row
            assert 0 < len(row[catalogue.P_MEANING]) <= 60, row


def test_show_and_read_are_inverse_to_the_displayed_digit():
    for quantity in UNITS:
        for us in (False, True):
            text = show(quantity, 123456, us)
            assert show(quantity, read(quantity, text, us), us) == text


def test_plain_numbers_and_words():
    assert show("", 12, False) == "12"
    assert show("words", "none", True) == "none"
    assert read("", " 12 ", True) == 12
    for text in ("", "1.5", "twelve"):
        try:
            read("", text, False)
        except ValueError as error:
            assert str(error) == "not a whole number"
        else:
            raise AssertionError(text)


def test_every_parameter_by_hand_fits_a_line_of_the_display():
    for name, _, needs_bench, params, _ in catalogue.CATALOGUE:
        if needs_bench:
            continue
        for row in params:
            for us in (0, 1):
                value = show(row[catalogue.P_QUANTITY], row[catalogue.P_DEFAULT], us)
                line = ">" + in_words(row[catalogue.P_NAME]) + " " + value
                assert len(line) <= COLUMNS, (name, line)

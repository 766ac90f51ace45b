"""Every setting can be reached by keys and set from one end of its range to the other."""

import pytest

from app.quantity_text import choices, of_setting
from app.screens.set_up import groups
from rate_control.settings import build
from rate_control.settings_table import COUNT, GROUP, HIGH, LABEL, LOW, NAME, TABLE
from tests.shared.panel_rig import PanelRig

FAR = 10**8  # notches: beyond every range
LABEL_LENGTH = 12
# one number that cannot go there without its neighbours, or without another setting
BOUND = {"curve_flow_ul_s", "curve_duty_u16", "meter_floor_ul_s", "meter_droop_ul_s"}


def test_every_setting_has_a_place_and_a_short_label():
    elsewhere = [entry[NAME] for entry in TABLE if entry[GROUP] not in groups()]
    assert elsewhere == ["rate_ml_ha"]  # which the menu has on top
    for title in groups():
        labels = [entry[LABEL] for entry in TABLE if entry[GROUP] == title]
        assert len(set(labels)) == len(labels)
        assert all(0 < len(text) <= LABEL_LENGTH for text in [title, *labels])


def test_choices_name_every_value():
    named = [entry for entry in TABLE if choices(entry)]
    assert len(named) >= 3
    for entry in named:
        assert len(choices(entry)) == entry[HIGH] - entry[LOW] + 1


def open_edit(rig, title, label, element):
    rig.home()
    rig.push()
    rig.choose("set up")
    rig.choose(title)
    rig.choose(label)
    if element is not None:
        rig.choose(f"number {element + 1} ")


def set_far(rig, notches):
    """Turn as far as it goes in every digit, and take it; returns what stands in the way."""
    for _ in range(12):
        depth = len(rig.operator._screens)
        rig.turn(notches)
        rig.push()
        if len(rig.operator._screens) != depth:
            break
    if type(rig.operator.screen()).__name__ != "Message":
        return ""
    return " ".join(line.strip() for line in rig.lines())


@pytest.mark.parametrize("us", [0, 1], ids=["metric", "customary"])
@pytest.mark.parametrize("title", groups())
def test_every_setting_from_end_to_end(title, us):
    for entry in TABLE:
        if entry[GROUP] != title:
            continue
        name, label = entry[NAME], entry[LABEL]
        for element in range(entry[COUNT]) if entry[COUNT] > 1 else [None]:
            # as many sections as there are widths, so that each can be reached
            settings, problems = build({"us_units": us, "section_count": 8, "rate_ml_ha": 1000})
            assert problems == []
            for notches, limit in ((-FAR, entry[LOW]), (FAR, entry[HIGH])):
                rig = PanelRig()
                assert rig.app.controller.apply(settings)
                open_edit(rig, title, label, element)
                refused = set_far(rig, notches)
                value = getattr(rig.app.controller.settings, name)
                value = value if element is None else value[element]
                if refused:
                    assert name in BOUND, refused
                    assert refused.startswith(name)
                else:
                    assert abs(value - limit) <= shown_step(entry, us), (name, value, limit)
                    assert entry[LOW] <= value <= entry[HIGH]


def shown_step(entry, us):
    """The internal units in one step of the last shown place, rounded up."""
    from app.units_text import UNITS

    quantity = of_setting(entry)
    if not quantity:
        return 0
    _, decimals, numerator, denominator = UNITS[quantity][us]
    return -(-numerator // (denominator * 10**decimals))

"""Settings: refused as a whole, every problem named, the last good ones untouched."""

from rate_control import settings
from rate_control.settings_table import ADVICE, GROUP, HOME, LABEL, MEANING, TABLE


def test_defaults_are_accepted():
    built, problems = settings.build({})
    assert problems == []
    assert built.rate_ml_ha == 100000


def test_every_problem_is_listed_and_nothing_is_kept():
    base, _ = settings.build({"rate_ml_ha": 80000})
    built, problems = settings.build(
        {"rate_ml_ha": 5, "meter_pulses_hl": 0, "section_width_mm": [1000], "colour": 3,
         "speed_pulses_km": 1.5, "loop_lag_ms": True}, base)
    assert built is None
    assert len(problems) == 6
    for name in ("rate_ml_ha", "meter_pulses_hl", "section_width_mm", "colour",
                 "speed_pulses_km", "loop_lag_ms"):
        assert any(line.startswith(name + ":") for line in problems), name
    assert base.rate_ml_ha == 80000


def test_negative_width_and_falling_curve():
    _, problems = settings.build({"section_width_mm": [1000, -1] + [1000] * 6})
    assert problems == ["section_width_mm: number 2 must be 50 to 20000 mm, is -1"]
    _, problems = settings.build({"curve_flow_ul_s": [0, 2, 1, 3, 4, 5, 6, 7, 50000]})
    assert "curve_flow_ul_s: number 3 must be above number 2" in problems


def test_total_width():
    _, problems = settings.build({"section_count": 8, "section_width_mm": [20000] * 8})
    assert len(problems) == 1


def test_changes_build_on_a_base():
    base, _ = settings.build({"rate_ml_ha": 80000})
    built, problems = settings.build({"section_count": 2}, base)
    assert problems == []
    assert built.rate_ml_ha == 80000
    assert built.section_count == 2
    assert base.section_count == 3


def test_each_row_is_complete():
    names = []
    groups = []
    for entry in TABLE:
        assert len(entry) == ADVICE + 1, entry
        assert entry[settings.NAME] not in names
        names.append(entry[settings.NAME])
        assert settings.value_problem(entry, settings.default_value(entry)) == ""
        assert all(0 < len(entry[field]) <= 60 for field in (MEANING, ADVICE))
        assert all(isinstance(entry[field], str) for field in (GROUP, LABEL, HOME))
        if not groups or groups[-1] != entry[GROUP]:
            assert entry[GROUP] not in groups, "the rows of a group stand together"
            groups.append(entry[GROUP])

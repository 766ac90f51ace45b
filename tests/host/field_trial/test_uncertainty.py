"""Intervals that cover, parts that add up, and what a person may say of a machine."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from host_sim.common.errors import InputError
from host_sim.field_trial import coverage
from host_sim.field_trial.knowledge_file import read_knowledge, usual
from host_sim.field_trial.uncertainty import Knowledge, MeasuredPlot, figures_of


def plot(**changes):
    """10 m of 3 m at 100 L/ha: 0.3 L at 1.5 m/s."""
    values = {"volume_m3": 0.3e-3, "length_m": 10.0, "width_m": 3.0, "time_s": 10 / 1.5,
              "wanted_m": 100e-7, "pulses_per_m3": 450e3, "pulses_per_m": 130.0,
              "droop_m3_s": 5e-6, "cv": 0.05, "metres": 10, "start_error_m": -0.3,
              "end_error_m": 0.2, "edge_m": 2.0}
    return MeasuredPlot(**(values | changes))


@pytest.mark.parametrize("seed", [1, 2])
def test_intervals_cover_hidden_truths(seed):
    """95 % intervals hold the truth of 93 to 97 % of the plots (`make intervals` for many)."""
    for name, share in coverage.covered(8000, seed).items():
        assert 0.93 <= share <= 0.97, (name, share)


@pytest.mark.parametrize("forgotten", ["meter", "speed", "width_m", "slip", "start_m3", "edge_s",
                                       "metre", "droop_m3_s"])
def test_a_source_that_is_forgotten_shows(monkeypatch, forgotten):
    """The check can fail: without a source of the budget the intervals do not cover."""
    def without(measured, know):
        return figures_of(measured, Knowledge(**(know.__dict__ | {forgotten: 1e-12})))

    monkeypatch.setattr(coverage, "figures_of", without)
    assert min(coverage.covered(8000, 1).values()) < 0.93


def test_the_mean_rate_by_the_formula_of_the_guide():
    """JCGM 100:2008, 5.1.2 and G.4.1, worked out by hand for R = V / (L w)."""
    know = Knowledge(meter=0.004, meter_runs=5, speed=0.003, speed_runs=4, width_m=0.006,
                     slip=0.0, start_m3=0.0, droop_m3_s=0.0)
    figure = figures_of(plot(pulses_per_m3=1e12, pulses_per_m=1e9), know)["mean_rate"]
    relative = math.sqrt(0.004**2 + 0.003**2 + (0.006 / 3) ** 2)
    assert figure.value == pytest.approx(100e-7)
    assert float(figure.standard) == pytest.approx(100e-7 * relative, rel=1e-6)
    freedom = relative**4 / (0.004**4 / 4 + 0.003**4 / 3)
    reach = stats.t.ppf(0.975, freedom)
    assert float(figure.half_width) == pytest.approx(100e-7 * relative * reach, rel=1e-5)


def test_counting_matters_on_small_plots_only():
    """A count between two moments is off by a triangle of one pulse: 1 / sqrt(6)."""
    small, large = (figures_of(plot(volume_m3=volume), Knowledge())["volume"]
                    for volume in (0.03e-3, 3e-3))
    assert small.parts["counting liquid"] == pytest.approx(1 / math.sqrt(6) / 450e3)
    assert large.parts["counting liquid"] / large.value < small.parts[
        "counting liquid"] / small.value / 99


def test_what_is_shared_cancels_between_plots():
    figure = figures_of(plot(), Knowledge())["mean_rate"]
    assert float(np.hypot(figure.only(True), figure.only(False))) == pytest.approx(
        float(figure.standard))
    assert set(figure.parts) == {"meter", "droop", "counting liquid", "start and end",
                                 "speed sensor", "width", "slip", "counting way"}


def test_a_file_says_what_is_known_and_the_rest_is_usual(tmp_path):
    path = tmp_path / "known.toml"
    path.write_text('meter = "0.2 %"\nmeter_runs = 8\nwidth = "0.5 in"\nmoment = "80 ms"\n')
    know = read_knowledge(path, {"meter_droop_ul_s": 5000})
    assert know.meter == pytest.approx(0.002) and know.meter_runs == 8
    assert know.width_m == pytest.approx(0.0127) and know.edge_s == pytest.approx(0.08)
    assert know.slip == usual({}).slip
    assert know.droop_m3_s == pytest.approx(0.1 * 5e-6)


@pytest.mark.parametrize(("text", "words"), [
    ('meter = "0.2"', "meter: '0.2' needs its unit"),
    ('meter = "50 %"', "meter: must be from 0 to 20 %, is '50 %'"),
    ('width = "5 ft"', "width: must be from 0 to 3.28084 ft, is '5 ft'"),
    ('meter = "-1 %"', "meter: must be from 0"),
    ("meter_runs = 1", "meter_runs: must be a whole number from 2"),
    ('metr = "1 %"', "did you mean metre?"),
])
def test_a_file_that_is_wrong_is_refused(tmp_path, text, words):
    path = tmp_path / "known.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=words.replace("?", r"\?")):
        read_knowledge(path, {})

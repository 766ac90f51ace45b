"""`fit`: hidden machines are found, and a run that cannot tell is refused in one line."""

import dataclasses

import numpy as np
import pytest

from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.common.errors import InputError
from host_sim.fit.episode import episode_of
from host_sim.fit.estimate import repeats
from host_sim.fit.hidden import PARTS, covered_pct, try_hidden
from host_sim.fit.replay import replayed
from host_sim.fit.unknowns import unknowns_of, values_of, with_values
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.runs.files import write_run
from host_sim.runs.measured import as_measured
from host_sim.runs.record import RunRecord
from host_sim.runs.summary import summarise
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.commissioning.owner import owner_settings
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.settings import build
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

KIND = "electric_s"
PUMP_SEED, VALVE_SEED = 2, 5
SHORT_S = 30.0  # of a drive: a short part of `make twins`
TOLD_LEAST_PCT = 90.0


@pytest.fixture(scope="module")
def truth():
    """A drive of 60 s with changes of speed: record and true machine."""
    spec = machine_spec(KIND)
    settings = commission(spec).settings
    speeds = [0.0, 0.0, 2.0, 2.0, 1.2, 1.2, 2.6, 2.6, 1.6, 1.6, 0.0]
    times = [0.0, 3.0, 5.0, 14.0, 14.2, 24.0, 24.2, 34.0, 34.2, 50.0, 60.0]
    scenario = Scenario("drive", spec, settings, SpeedTrace("made up", tuple(times), tuple(speeds)),
                        3, [Event("go", at_s=1.0, on=SWITCH_MASTER),
                            Event("down", at_s=5.0, on=SWITCH_IMPLEMENT)])
    return Twin(scenario).run(), spec


@pytest.fixture(scope="module")
def recorded(truth):
    return as_measured(truth[0])


def changed(record, **columns):
    return RunRecord(record.columns | columns, record.about)


def part(record, rows):
    return RunRecord({name: column[rows] for name, column in record.columns.items()}, record.about)


@pytest.mark.parametrize("seed", [PUMP_SEED, VALVE_SEED])
def test_hidden_builds_lie_within_their_intervals(seed):
    found = try_hidden(seed, longest_s=SHORT_S)
    assert not found.failure
    told = [guess for guess in found.guesses if guess.name != PARTS[1]]
    assert len(told) >= 12
    assert covered_pct([found]) >= TOLD_LEAST_PCT, [guess for guess in told if not guess.inside]
    lag = next(guess for guess in found.guesses if guess.name.startswith("lag"))
    assert lag.told < 0.2  # an interval as wide as what was known before would be no feat


def test_true_machine_gives_the_recorded_pulses(truth, recorded):
    """The plant on the recorded pins, nothing else, repeats the meter to a fraction of a pulse."""
    episode = episode_of("run", recorded)
    spec = truth[1].override(meter={"pulses_per_m3": 10.0 * episode.settings["meter_pulses_hl"]})
    off = replayed(spec, episode) - episode.pulses
    rated = off[episode.rated] / episode.deviation[episode.rated]
    assert np.sqrt(np.mean(rated**2)) < 1.0
    counted = off[~episode.rated]
    assert len(counted) > 5
    assert np.sqrt(np.mean(counted**2)) < 0.6
    assert abs(off[episode.rated].mean()) < 0.02 < episode.pulses[episode.rated].mean()


def test_truth_is_never_read(truth, recorded):
    """A run of the twin and the same as a recording of a board give the same episode."""
    blind = {name: np.full_like(column, np.nan) for name, column in truth[0].columns.items()
             if name.startswith("true_")}
    ours, theirs = episode_of("run", recorded), episode_of("run", changed(recorded, **blind))
    for field in dataclasses.fields(ours):
        assert np.array_equal(getattr(ours, field.name), getattr(theirs, field.name)), field.name


def test_values_go_there_and_back():
    for kind in KINDS:
        spec = machine_spec(kind)
        settings, _ = build(owner_settings(spec))
        unknowns = unknowns_of(spec, settings.as_dict())
        at = np.linspace(-0.7, 0.9, len(unknowns))
        found = values_of(with_values(spec, unknowns, at), unknowns)
        back = [one.z_of(value) for one, value in zip(unknowns, found, strict=True)]
        for one, wanted, got in zip(unknowns, at, back, strict=True):
            stopped = one.name == "breakaway_nm" or not one.limits()[0] < wanted < one.limits()[1]
            assert stopped or got == pytest.approx(wanted, abs=1e-6), one.key


def test_noise_counts_for_as_much_as_it_repeats():
    """White noise says something new every time; a first-order process of factor a repeats by
    (1 + a) / (1 - a): Priestley, Spectral Analysis and Time Series (1981), from memory."""
    rng = np.random.default_rng(5)
    fresh = rng.normal(size=40_000)
    assert repeats(fresh) == pytest.approx(1.0, abs=0.15)
    slow = np.zeros_like(fresh)
    for row in range(1, len(fresh)):
        slow[row] = 0.8 * slow[row - 1] + fresh[row]
    assert repeats(slow) == pytest.approx(9.0, rel=0.15)


DIRTY = [
    ("too short", lambda run: part(run, slice(0, 400)), "at least 30 s"),
    ("every second tick", lambda run: part(run, slice(None, None, 2)), "--every 1"),
    ("duty does not move",
     lambda run: changed(run, duty_u16=np.full_like(run["duty_u16"], 30_000.0)), "hardly moves"),
    ("dry", lambda run: changed(run, volume_ul=np.zeros(len(run))), "no liquid"),
    ("torn", lambda run: part(run, np.arange(len(run)) % 500 != 499), "without a gap is 25 s"),
]


@pytest.mark.parametrize(("spoil", "words"), [case[1:] for case in DIRTY],
                         ids=[case[0] for case in DIRTY])
def test_a_run_that_cannot_tell_is_one_line(recorded, spoil, words):
    with pytest.raises(InputError) as refused:
        episode_of("field.rec", spoil(recorded))
    assert len(refused.value.args) == 1
    assert refused.value.args[0].startswith("field.rec: ")
    assert words in refused.value.args[0]


def test_a_gap_leaves_the_longer_part(recorded):
    rows = np.ones(len(recorded), dtype=bool)
    rows[100:140] = False
    episode = episode_of("run", part(recorded, rows))
    assert episode.duration_s == pytest.approx(60.0 - 7.0, abs=0.2)
    assert episode.left_out_s == pytest.approx(7.0, abs=0.2)


@pytest.fixture(scope="module")
def written(truth, tmp_path_factory):
    """The drive as files, written once."""
    folder = tmp_path_factory.mktemp("drive") / "run"
    write_run(folder, truth[0], summarise(truth[0]) | {"wall_seconds": None}, False)
    return folder


@pytest.mark.parametrize(("machine", "words"), [
    ("bypass_pd", "another actuator"), ("hydraulic", "2 sections, hydraulic has 6"),
    ("no_such.toml", "no_such.toml"),
])
def test_another_machine_is_one_line(written, capsys, machine, words):
    assert main(["fit", str(written), machine]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1

"""*Fit your own twin*, followed command by command with the recording of a hidden machine."""

import contextlib
import dataclasses
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.common.reading import read_json
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.twin_keeping import Fitted, keep_twin
from host_sim.machine_file.twin_spec import spec_of
from host_sim.twin.hands import Event
from host_sim.twin.plain_drive import plain_drive
from host_sim.twin.scenario import SCENARIO_DIR
from host_sim.twin.speed_trace import SpeedTrace
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.support.recorded_twin import record_twin

PAGE = REPO_ROOT / "docs" / "how_to" / "fit_your_own_twin.md"
BLOCK = re.compile(r"^ *```sh\n(.*?)^ *```", re.MULTILINE | re.DOTALL)
HIDDEN = {"manifold": {"compliance_ml_bar": 55.0, "air_ml": 10.0}, "meter": {"lag_s": 0.028},
          "pump": {"inertia_kg_m2": 1.6e-4}}
SPEEDS = [(0.0, 0.0), (3.0, 0.0), (4.0, 2.0), (9.0, 2.0), (9.1, 3.2), (15.0, 3.2), (15.1, 1.5),
          (21.0, 1.5), (21.1, 2.6), (26.0, 2.6), (31.0, 2.6)]
EVENTS = [Event("master on", at_s=1.0, on=SWITCH_MASTER),
          Event("down", at_s=4.0, on=SWITCH_IMPLEMENT),
          Event("up", at_s=26.0, off=SWITCH_IMPLEMENT)]


def lines_of_page():
    """The commands of the page in their order."""
    return [line.strip() for block in BLOCK.findall(PAGE.read_text(encoding="utf-8"))
            for line in block.splitlines()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where the page was followed: a machine file, and the recording of a machine unlike it."""
    folder = tmp_path_factory.mktemp("own_twin")
    shutil.copy(SCENARIO_DIR / "plot_bar.machine.toml", folder / "my_bar.toml")
    machine = load_machine(folder / "my_bar.toml")
    times, speeds = zip(*SPEEDS, strict=True)
    scenario = dataclasses.replace(
        plain_drive(machine), machine=spec_of(machine).override(**HIDDEN),
        speed_trace=SpeedTrace("made up", times, speeds), events=EVENTS)
    lines = lines_of_page()
    record = shlex.split(lines[0])
    assert record[3] == "record"
    every = int(record[record.index("--every") + 1])
    record_twin(folder / record[record.index("--out") + 1], scenario, every)
    with contextlib.chdir(folder):
        for line in lines[1:]:
            if line.startswith("make "):
                continue
            words = shlex.split(line)
            if words[0] == "python":
                more = ["--json", "what_if.json"] if "what_if.html" in words else []
                assert main([*words[3:], *more]) == 0, line
            else:
                subprocess.run(words, check=True)
    return folder


def test_hidden_parameters_stand_in_the_file_with_their_intervals(folder):
    spec = spec_of(load_machine(folder / "my_bar.toml"))
    true = spec_of(load_machine(folder / "my_bar.toml.before")).override(**HIDDEN)
    assert spec.meter.lag_s == pytest.approx(true.meter.lag_s, rel=0.3)
    assert spec.manifold.compliance_m3_pa == pytest.approx(true.manifold.compliance_m3_pa, rel=0.3)
    assert abs(true.manifold.compliance_m3_pa - 1.5e-10) > 3e-10  # it was far off before
    text = (folder / "my_bar.toml").read_text(encoding="utf-8")
    low, high = map(float, re.search(r'^lag = ".*" # ([\d.]+) s to ([\d.]+) s', text,
                                     re.M).groups())
    assert low <= true.meter.lag_s <= high
    assert "# the ground is not smooth" in text  # a person's own words stay
    assert "fit of field.rec" in text


def test_replay_stands_beside_the_run(folder):
    page = (folder / "what_if.html").read_text(encoding="utf-8")
    assert "the replay on brisk.toml" in page
    assert re.search(r"settling.*1\.5.*1\.0|settling.*1\.50.*1\.00", page, re.S)
    figures = read_json(folder / "what_if.json", 10**8)
    again = figures["against"]
    assert again["about"]["settings"]["settling_time_ms"] == 1000
    assert figures["about"]["settings"]["settling_time_ms"] == 1500
    assert again["distance_m"] == pytest.approx(figures["distance_m"], rel=0.01)
    assert again["volume_l"] == pytest.approx(figures["volume_l"], rel=0.03)


def test_machine_of_other_sections_cannot_replay(folder, tmp_path, capsys):
    text = (folder / "my_bar.toml").read_text(encoding="utf-8")
    text = text[:text.index("[twin")].replace("sections = [2, 3, 2]", "sections = [2, 3]")
    (tmp_path / "other.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "never.html"
    assert main(["report", str(folder / "field.rec"), "--replay", str(tmp_path / "other.toml"),
                 "--out", str(out)]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert "has 2 sections" in told and told.count("\n") == 1
    assert not out.exists()


@pytest.mark.parametrize("twin", [
    '[twin]\nkind = "electric_m"\n\n[twin.manifold]\nrelief_bar = 4  # mine\n',
    '[twin]\nkind = "electric_m"\nmanifold = {relief = "4 bar"}\n',
    '[twin]\nkind = "electric_m"\nmanifold.relief_psi = 58\n', "",
])
def test_twin_of_a_file_is_written_whatever_it_held(tmp_path, twin):
    """A parameter that stood there under another name, or in another form, gives way."""
    path = tmp_path / "bar.toml"
    text = (SCENARIO_DIR / "plot_bar.machine.toml").read_text(encoding="utf-8")
    path.write_text(text[:text.index("[twin]")] + twin, encoding="utf-8")
    before = spec_of(load_machine(path))
    wanted = before.override(manifold={"relief_bar": 3.5}, sections={"wear": (1.0, 1.1, 1.2)})
    keep_twin(path, wanted, {("manifold", "relief_pa"): Fitted(wanted.manifold.relief_pa, "a note"),
                             ("sections", "wear"): Fitted(wanted.sections.wear)}, "by hand")
    after = spec_of(load_machine(path))
    assert after.manifold.relief_pa == pytest.approx(3.5e5)
    assert after.sections.wear == pytest.approx((1.0, 1.1, 1.2))
    assert Path(f"{path}.before").read_text(encoding="utf-8").endswith(twin)

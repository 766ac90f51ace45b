"""Pages of parts that a setting or a file asks for, followed from an empty folder.

Each begins with the machine file of learn_at_work.md, as a person has one by then.
"""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from app.pressure_watch import SAYS
from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.panel.live_twin import LiveTwin
from host_sim.twin.plain_drive import scenario_for
from host_sim.twin.twin import Twin
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

HOW_TO = REPO_ROOT / "docs" / "how_to"
BAR = Path("my_bar.toml")
LEARN, PRESSURE, CAN = (
    "learn_at_work", "use_a_pressure_sensor", "take_speed_and_place_from_a_can_bus")


def text_of(page: str) -> str:
    """A page, its code not indented."""
    return re.sub(r"^ {3}(?=\S|  )", "", (HOW_TO / f"{page}.md").read_text("utf-8"), flags=re.M)


def block(page: str, language: str) -> str:
    """The first block of a language."""
    found = re.search(rf"^```{language}\n(.*?)^```", text_of(page), re.M | re.S)
    assert found, (page, language)
    return found[1]


def run(line: str) -> None:
    """Run a command of a page that needs no board."""
    words = shlex.split(line)
    assert words[:3] == ["python", "-m", "host_sim"], line
    assert main(words[3:]) == 0, line


def add(lines: str) -> None:
    """Put keys below their tables of the machine file, as a person does; a new table at its end."""
    text = BAR.read_text(encoding="utf-8")
    for table in re.split(r"^(?=\[)", lines, flags=re.M):
        head, _, keys = table.partition("\n")
        if not head.strip():
            continue
        if f"{head}\n" in text:
            text = text.replace(f"{head}\n", f"{head}\n{keys}")
        else:
            text += f"\n{table}"
    BAR.write_text(text, encoding="utf-8")


def figures(folder: str) -> Any:
    return json.loads(Path("out", folder, "summary.json").read_text(encoding="utf-8"))


def driven(scenario: Path | None = None) -> dict[str, Any]:
    """The facts of a drive of the machine as it is now, without its report."""
    return Twin(scenario_for(scenario, machine_file=None if scenario else BAR)).run().about


@pytest.fixture(autouse=True)
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    BAR.write_text(block(LEARN, "toml"), encoding="utf-8")
    size, _ = block(LEARN, "sh").splitlines()
    run(size)


def test_a_stiffer_pump_is_learned_at_work() -> None:
    run(block(LEARN, "sh").splitlines()[1])
    assert figures("learns")["volume_l"] > 4.0 and not figures("learns")["notes"]
    learned = {}
    for learns in ("on", "off"):
        text = BAR.read_text(encoding="utf-8")
        BAR.write_text(text.replace('curve_learning = "on"', f'curve_learning = "{learns}"'))
        twin = LiveTwin(scenario_for(None, machine_file=BAR))
        before = twin.application.controller.settings.curve_flow_ul_s
        twin.live(1.0)
        twin.board.switches |= SWITCH_MASTER | SWITCH_IMPLEMENT
        for speed_m_s in (2.0, 2.5, 3.0):
            twin.vehicle.at_speed(speed_m_s)
            twin.live(40.0)
        twin.board.switches &= ~SWITCH_MASTER
        twin.vehicle.at_speed(0.0)
        twin.live(5.0)
        after = twin.application.controller.settings.curve_flow_ul_s
        learned[learns] = max(1.0 - now / then for now, then in zip(after, before, strict=True)
                              if then)
    assert 0.05 < learned["on"] <= 0.125 and learned["off"] == 0.0


def test_plugged_outlets_are_told_on_the_twin(capsys: pytest.CaptureFixture[str]) -> None:
    page = text_of(PRESSURE)
    add("\n".join(line.strip() for line in re.search(
        r"^ +\[pressure\]\n( +\w.*\n)+", page, re.M)[0].splitlines()))  # type: ignore[index]
    Path("plugged.toml").write_text(block(PRESSURE, "toml"), encoding="utf-8")
    Path("even.csv").write_text(block(PRESSURE, "csv"), encoding="utf-8")
    lines = re.findall(r"^ {4}(python -m host_sim (?!.*panel).*)$", page, re.M)
    assert [line.split()[3] for line in lines] == ["pressure", "drive"]
    for line in lines:
        run(line)
    assert Path("pressure.bin").stat().st_size == 30
    assert figures("plugged")["notes"] == [SAYS[1]]
    assert f"note         {SAYS[1]}" in capsys.readouterr().out
    for instead, said in (('filter_clog = "8 bar"', SAYS[5]), ("pressure_cut = true", SAYS[6])):
        assert instead in page
        Path("plugged.toml").write_text(block(PRESSURE, "toml").replace(
            "section = 1\norifice_factor = 0.0", instead), encoding="utf-8")
        assert driven(Path("plugged.toml"))["notes"] == [said]


def test_speed_comes_by_the_bus_and_a_silent_one_applies_nothing() -> None:
    add(block(CAN, "toml"))
    run(block(CAN, "sh").strip())
    assert figures("can")["volume_l"] > 4.0 and not figures("can")["notes"]
    text = BAR.read_text(encoding="utf-8")
    BAR.write_text(text.replace("hz = 10\n", "hz = 0\n"), encoding="utf-8")
    silent = driven()
    assert silent["controller_volume_l"] == 0.0 and not silent["notes"]
    BAR.write_text(text.replace('speed_source = "GNSS"', 'speed_source = "both"').replace(
        'can_use = "GNSS"', 'can_use = "wheel"'), encoding="utf-8")
    assert [f"`{note}`" in text_of(CAN) for note in driven()["notes"]] == [True]

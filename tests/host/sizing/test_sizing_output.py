"""`python -m host_sim size` as a person calls it: tables, JSON, chart, exit status."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import matplotlib.image
import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main

FITS = ["--rate", "100 L/ha", "--speed", "9 to 12 km/h", "--spacing", "0.5 m",
        "--sections", "6, 8, 6", "--outlet", "03", "--outlet-pressure", "1 to 4 bar",
        "--pump", "40 L/min open, 28 L/min at 4 bar", "--density", "1.28 kg/L",
        "--meter", "450 pulses/L", "--meter-range", "3 to 30 L/min"]  # fmt: skip
HOPELESS = ["--rate", "400 L/ha", "--speed", "8 to 12 km/h", "--spacing", "0.5 m",
            "--sections", "24", "--outlet", "02", "--pump", "S"]  # fmt: skip


def size(*arguments: str) -> int:
    return main(["size", *arguments])


def answer(tmp_path: Path, *arguments: str) -> dict:
    size(*arguments, "--json", str(tmp_path / "answer.json"))
    return json.loads((tmp_path / "answer.json").read_text())


def test_a_machine_that_fits(capsys: pytest.CaptureFixture[str]) -> None:
    assert size(*FITS) == 0
    out = capsys.readouterr().out
    assert out.startswith("FITS: every rate over the whole speed range.")
    assert "the factor is sqrt(1.280) = 1.131" in out
    assert "A volumetric flow meter needs no such" in out
    assert "The product label and local rules prevail." in " ".join(out.split())


def test_a_hopeless_machine_says_which_part_and_what_would_do(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert size(*HOPELESS) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("DOES NOT FIT")
    assert "Outlet 02 is too small: 400.0 L/ha at 12.0 km/h takes 4.000 L/min from each" in out
    assert "What would do: size 10." in out
    assert "Pump S is too small" in out
    assert "What would do: a pump that gives at least 96.00 L/min at 3.08 bar" in out


def test_everything_in_customary_units(capsys: pytest.CaptureFixture[str]) -> None:
    assert size(*FITS, "--units", "us") == 0
    out = capsys.readouterr().out
    for label in ("gal/ac", "mph", "gal/min", "psi", " in "):
        assert label in out
    for label in ("L/ha", "km/h", "L/min", "bar"):
        assert label not in out.replace("Bar:", "")


def test_json_holds_the_whole_answer(tmp_path: Path) -> None:
    document = answer(tmp_path, *FITS)
    assert (document["units"], document["fits"], document["findings"]) == ("metric", "all", [])
    assert document["density_factor"] == pytest.approx(1.28**0.5)
    rate = document["rates"][0]
    assert rate["rate_l_ha"] == 100
    assert rate["usable"] == {
        "lowest_speed_km_h": 9.0,
        "lowest_by": "asked range",
        "highest_speed_km_h": 12.0,
        "highest_by": "asked range",
    }
    assert rate["speed_window"]["lowest_by"] == "outlet"
    last = rate["points"][-1]
    assert last["speed_km_h"] == 12
    assert last["total_flow_l_min"] == pytest.approx(20)  # 100 L/ha x 12 km/h x 10 m / 600
    assert last["meter_hz"] == pytest.approx(150)  # 450 pulses/L x 20 L/min / 60
    assert last["beyond"] == []
    would_do = [entry["size"] for entry in document["outlet_sizes"] if entry["fits"] == "all"]
    assert would_do == ["025", "03"]


def test_outlet_pressure_of_a_point(tmp_path: Path) -> None:
    """Size 03 passes 0.30 US gal/min at 40 psi: 1 L/min of 1.28 kg/L takes 2.74 bar."""
    point = answer(tmp_path, *FITS)["rates"][0]["points"][-1]
    expected = 1.28 * 2.757903 * (1 / (0.30 * 3.785411784)) ** 2
    assert point["outlet_pressure_bar"] == pytest.approx(expected, rel=1e-6)


def test_json_in_customary_units_is_the_same_machine(tmp_path: Path) -> None:
    metric = answer(tmp_path, *FITS)["rates"][0]["speed_window"]
    customary = answer(tmp_path, *FITS, "--units", "us")["rates"][0]["speed_window"]
    assert customary["highest_by"] == metric["highest_by"]
    assert customary["highest_speed_mph"] * 1.609344 == pytest.approx(metric["highest_speed_km_h"])


def test_json_of_a_hopeless_machine(tmp_path: Path) -> None:
    document = answer(tmp_path, *HOPELESS)
    assert document["fits"] == "none"
    assert document["rates"][0]["usable"] is None
    window = document["rates"][0]["speed_window"]
    assert window["lowest_speed_km_h"] > window["highest_speed_km_h"]
    assert [finding["part"] for finding in document["findings"]] == ["outlet", "pump"]


def test_chart_as_png_and_svg(tmp_path: Path) -> None:
    for suffix in ("png", "svg"):
        size(*FITS, "--plot", str(tmp_path / f"window.{suffix}"))
    height, width, _ = matplotlib.image.imread(tmp_path / "window.png").shape
    assert (width, height) > (1000, 900)
    drawing = (tmp_path / "window.svg").read_text()
    for words in ("feasible window", "application rate, L/ha", "ground speed, km/h", "most: pump"):
        assert words in drawing
    size(*FITS, "--units", "us", "--plot", str(tmp_path / "window.svg"))
    assert "application rate, gal/ac" in (tmp_path / "window.svg").read_text()


def test_chart_of_a_hopeless_machine(tmp_path: Path) -> None:
    size(*HOPELESS, "--plot", str(tmp_path / "window.svg"))
    drawing = (tmp_path / "window.svg").read_text()
    assert "rate asked for, not usable" in drawing
    assert "rate asked for, usable" not in drawing


@pytest.mark.parametrize(
    "wrong",
    [
        ["--rate", "abc"],
        ["--plot", "window.pdf"],
        ["--plot", "nowhere/window.png"],
        ["--json", "."],
        ["none.toml"],
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    wrong: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert size("--json", "answer.json", *FITS, *wrong) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("python -m host_sim size: ")
    assert captured.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_how_tos_examples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (REPO_ROOT / "docs/how_to/size_a_machine.md").read_text()
    monkeypatch.chdir(tmp_path)
    Path("my_machine.toml").write_text(re.search(r"```toml\n(.*?)```", text, re.DOTALL)[1])
    assert size("my_machine.toml") == 0
    command = re.search(r"```sh\n(.*?)```", text, re.DOTALL)[1].replace("\\\n", " ")
    assert main(shlex.split(command)[3:]) == 0
    assert Path("window.png").stat().st_size > 10_000
    assert capsys.readouterr().out.count("FITS IN PART") == 2


def test_help_has_an_example_and_the_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as done:
        size("--help")
    assert done.value.code == 0
    out = capsys.readouterr().out
    assert "example:" in out
    assert "pressure can burst hoses" in out
    assert "product label and local rules prevail" in out

"""Plans: laid out, read, refused as a whole, drawn, and made into a drive."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.common.output import write_files
from host_sim.field_trial.plan_file import read_plan
from host_sim.field_trial.plan_table import plan_csv
from host_sim.field_trial.plot_drive import drive_over, lift_ahead_s, room_problems
from host_sim.machine_file.machine import load_machine
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.units import TICK_MS

MACHINE = DEMO.with_name("plot_bar.machine.toml")
SIX = [word for letter, rate in zip("ABCDEF", (60, 70, 80, 90, 100, 0), strict=True)
       for word in ("--treatment", f"{letter}={rate} L/ha")]
BLOCKS = ["plots", "new", "--design", "blocks", "--blocks", "4", "--seed", "7", *SIX,
          "--length", "10 m", "--width", "3.5 m"]
HEADER = "plot,block,treatment,rate,length,pass,order\n"
SOUND = HEADER + "11,1,A,80 L/ha,10 m,1,1\n12,1,B,7 gal/ac,33 ft,2,2\n"


def written(tmp_path, text):
    path = tmp_path / "plan.csv"
    path.write_text(text)
    return path


def problems(tmp_path, text):
    with pytest.raises(InputError) as caught:
        read_plan(written(tmp_path, text))
    return [line.partition("plan.csv")[2] for line in caught.value.args]


@pytest.fixture
def plan(tmp_path):
    """24 plots of 6 treatments in 4 blocks."""
    assert main([*BLOCKS, "--out", str(tmp_path / "plan.csv"),
                 "--draw", str(tmp_path / "field.svg")]) == 0
    return read_plan(tmp_path / "plan.csv")


def test_a_plan_is_laid_out_in_serpentines(plan):
    assert plan.design() == "randomised complete blocks"
    assert [plot.name for plot in plan.plots[:9]] == [
        "101", "201", "301", "401", "402", "302", "202", "102", "103"]
    assert [plot.heading_deg for plot in plan.plots[:9]] == [0.0] * 4 + [180.0] * 4 + [0.0]
    assert [plot.y_m for plot in plan.plots[:5]] == [0.0, 13.0, 26.0, 39.0, 49.0]
    assert [plot.order for plot in plan.plots] == list(range(1, 25))
    treated = [plot.number for plot in plan.plots if plot.treated]
    assert treated == list(range(1, 21))
    assert all(not plot.number for plot in plan.plots if plot.treatment == "F")


def test_what_is_written_is_what_is_read(plan, tmp_path):
    again = read_plan(written(tmp_path, plan_csv(plan)))
    assert again == plan


def test_units_of_a_cell_or_of_a_column_mean_the_same(tmp_path):
    """1 gal/ac = 9.35396 L/ha, from the exact definitions of gallon and acre."""
    one, other = read_plan(written(tmp_path, SOUND)).plots
    assert one.rate_m == pytest.approx(80e-7)
    assert other.rate_m == pytest.approx(7 * 9.35396e-7, rel=1e-6)
    assert other.length_m == pytest.approx(33 * 0.3048)
    text = "plot;treatment;rate_gal_ac;length_ft;order\nP1;N;7;33;1\n"
    column = read_plan(written(tmp_path, text))
    assert column.plots[0].rate_m == pytest.approx(other.rate_m)
    assert column.us and column.plots[0].number == 1


def test_every_problem_is_told_at_once(tmp_path):
    text = HEADER + ("11,1,A,80,10 m,1,1\n"        # a rate without a unit
                     "12,1,=B,90 L/ha,10 m,2,2\n"  # a name that a spreadsheet reckons
                     "13,1,C,90 L/ha,10 kg,3,0\n")  # a length in kg, an order of 0
    assert [line.split(": ")[0:2] for line in problems(tmp_path, text)] == [
        [":2", "rate"], [":3", "treatment"], [":4", "length"], [":4", "order"]]


@pytest.mark.parametrize(("text", "line", "words"), [
    ("", ":1", "is empty"),
    (HEADER, "", "has 0 plots"),
    (HEADER + "11,1,A\n", ":2", "has 3 cells, the header 7"),
    (HEADER.replace("rate", "rat"), ":1: rat", "did you mean rate?"),
    (HEADER.replace(",order", ""), ":1: order", "the column is missing"),
    (HEADER.replace("block", "rate_l_ha"), ":1: rate", "is given already"),
    (SOUND.replace("12,1", "11,1"), ":3: plot", "11 is there twice"),
    (SOUND.replace("2,2\n", "2,3\n"), ":3: order", "2 is missing"),
    (SOUND.replace(",B,", ",A,"), ":3: rate", "one treatment has one rate"),
    (SOUND.replace("2,2\n", "4,2\n"), ":3: pass", "must be 1 or 2 here"),
    (SOUND.replace("2,2\n", "1,2\n"), ":3: start", "begins before plot 11"),
    (SOUND.replace("2,2\n", ",2\n"), ":3: pass", "is empty, but the plot gets something"),
    (SOUND.replace("7 gal/ac", "0 L/ha"), ":3: pass", "must be empty"),
    (SOUND.replace("80 L/ha", "0.5 L/ha"), ":2: rate", "must be 0, for a plot that gets nothing"),
    (SOUND.replace("80 L/ha", "99999 L/ha"), ":2: rate", "must be 0, for a plot"),
    (SOUND.replace("80 L/ha", '"80,5 L/ha"'), ":2: rate", "decimal sign as a point"),
    (SOUND.replace("10 m", "0.1 m"), ":2: length", "must be 0.5 m"),
    (SOUND.replace("12,1", "12,"), ":3: block", "is given for some plots only"),
    (SOUND.replace("12", "a name that is far too long"), ":3: plot", "more than 20 characters"),
    (HEADER + "1,1,A,8 L/ha,9 m,1,1\n" * 501, "", "has 501 plots"),
])
def test_a_plan_that_is_wrong_is_refused(tmp_path, text, line, words):
    found = problems(tmp_path, text)
    assert any(one.startswith(line) and words in one for one in found), found


def test_without_a_pass_every_plot_that_gets_something_is_one(tmp_path):
    rows = "plot,treatment,rate_l_ha,length_m,order\n1,F,0,10,1\n3,A,80,10,3\n2,A,80,10,2\n"
    assert [(plot.name, plot.number) for plot in read_plan(written(tmp_path, rows)).plots] == [
        ("1", 0), ("2", 1), ("3", 2)]


def test_plots_may_touch_but_not_lie_on_each_other(tmp_path):
    rows = "plot,treatment,rate_l_ha,length_m,order,width_m,x_m,y_m,heading_deg\n"
    touching = rows + "1,A,80,10,1,3,1.5,0,0\n2,A,80,10,2,3,4.5,10,180\n"
    assert len(read_plan(written(tmp_path, touching)).plots) == 2
    assert "lies on plot 1" in problems(tmp_path, touching.replace("4.5", "4"))[0]


def test_a_pass_may_hold_several_plots(tmp_path):
    assert main([*BLOCKS, "--lift", "headland", "--out", str(tmp_path / "plan.csv")]) == 0
    passes = list(read_plan(tmp_path / "plan.csv").passes())
    assert any(len(group) > 1 for group in passes)
    for group in passes:
        assert [plot.start_m for plot in group] == [13.0 * place for place in range(len(group))]
        assert len({plot.column for plot in group}) == 1


@pytest.mark.parametrize(("options", "design"), [
    (["--design", "completely-randomised", "--replicates", "3"], "completely randomised"),
    (["--design", "latin-square"], "Latin square"),
    (["--design", "split-plot", "--blocks", "3", "--whole", "early", "--whole", "late"],
     "split plot"),
])
def test_designs_are_seen_in_their_plans(tmp_path, options, design, capsys):
    treatments = ["--treatment", "A=60", "--treatment", "B=70", "--treatment", "C=80"]
    assert main(["plots", "new", *options, *treatments, "--seed", "1", "--length", "9",
                 "--machine", str(MACHINE), "--out", str(tmp_path / "plan.csv")]) == 0
    capsys.readouterr()
    assert main(["plots", "check", str(tmp_path / "plan.csv"), "--machine", str(MACHINE)]) == 0
    assert re.search(rf"^design +{design}$", capsys.readouterr().out, re.MULTILINE)


@pytest.mark.parametrize(("change", "words"), [
    (["--blocks", "200"], "makes 1200 plots, more than 500"),
    (["--replicates", "2"], "--replicates: does not go with --design blocks"),
    (["--whole", "X"], "--whole: goes with --design split-plot"),
    (["--treatment", "G"], "every --treatment needs its rate"),
    (["--treatment", "A=70"], "A is there twice"),
    (["--treatment", "G=70 kg"], "unit 'kg'"),
    (["--treatment", "+cmd=70"], "'+cmd' must begin with a letter"),
    (["--alley", "0"], "--alley: must be at least 0.5 m"),
    (["--length", "0.2"], "length: must be 0.5 m"),
    (["--machine", str(MACHINE)], "give either --width or --machine"),
    (["--draw", "field.gif"], "must end in .svg or .png"),
])
def test_what_cannot_be_laid_out_is_refused_and_nothing_written(tmp_path, capsys, change, words):
    assert main([*BLOCKS, *change, "--out", str(tmp_path / "plan.csv")]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_plan_has_the_units_of_its_machine(tmp_path, capsys):
    """A machine file in US units: bare numbers and columns are so too, unless another is said."""
    us = tmp_path / "us.machine.toml"
    us.write_text(MACHINE.read_text().replace('units = "metric"', 'units = "us"'))
    new = ["plots", "new", "--design", "blocks", "--blocks", "2", "--seed", "7", "--treatment",
           "A=10", "--treatment", "B=15", "--length", "40 ft", "--machine", str(us)]
    assert main([*new, "--out", str(tmp_path / "us.csv")]) == 0
    assert "10.00 gal/ac on 2 plots" in capsys.readouterr().out
    assert "rate_gal_ac" in (tmp_path / "us.csv").read_text()
    assert main([*new, "--units", "metric", "--out", str(tmp_path / "metric.csv")]) == 0
    assert "10.0 L/ha on 2 plots" in capsys.readouterr().out


def test_a_plan_is_never_overwritten(plan, tmp_path, capsys):
    assert main([*BLOCKS, "--out", str(tmp_path / "plan.csv")]) == 2
    assert "is not overwritten" in capsys.readouterr().err


def test_the_field_is_drawn_with_every_plot(plan, tmp_path):
    drawn = (tmp_path / "field.svg").read_text()
    for plot in plan.plots:
        assert f">{plot.name}<" in drawn
    assert main(["plots", "check", str(tmp_path / "plan.csv"),
                 "--draw", str(tmp_path / "field.png")]) == 0
    assert (tmp_path / "field.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["plots", "check", str(written(tmp_path, SOUND)),
                 "--draw", str(tmp_path / "no.svg")]) == 2


def test_a_machine_that_does_not_fit_is_told(tmp_path, capsys):
    rows = "plot,treatment,rate_l_ha,length_m,order,width_m\n1,A,80,10,1,3.4\n"
    assert main(["plots", "check", str(written(tmp_path, rows)), "--machine", str(MACHINE)]) == 2
    assert "plot 1 is 3.400 m wide, the bar of the machine 3.500 m" in capsys.readouterr().err


def test_the_drive_of_a_plan_has_its_rates_in_the_alleys(plan, tmp_path):
    course = drive_over(plan, 1.5)
    scenario = tomllib.loads(course.scenario('a "trial"', "m.toml", "speed.csv", 3))
    assert scenario["title"] == 'a "trial"'
    down, rates = None, []
    for event in sorted(scenario["event"][1:], key=lambda one: one["at_m"]):
        if "rate" in event:
            assert down is None, "no change of the rate inside a plot"
            rates.append(event["rate"])
        elif event["implement"] == "down":
            down = event["at_m"]
        else:
            assert event["at_m"] - down == pytest.approx(10.0)
            down = None
    wanted = [f"{plot.rate_m * 1e7:.9g} L/ha" for plot in plan.plots if plot.treated]
    assert rates == [rate for index, rate in enumerate(wanted) if index == 0
                     or rate != wanted[index - 1]]


def test_hands_lower_the_run_up_before_a_plot_and_lift_ahead_of_its_end(tmp_path):
    rows = ("plot,treatment,rate_l_ha,length_m,start_m,order,width_m,x_m,y_m,heading_deg\n"
            "1,A,80,8,1,1,3.5,1.75,0,0\n2,B,0,8,0,2,3.5,1.75,11,0\n3,C,60,8,1,3,3.5,1.75,22,0\n")
    course = drive_over(read_plan(written(tmp_path, rows)), 1.5, lift_s=0.2)
    at_m = {}
    for place_m, lines in course.events:
        at_m.setdefault(lines.split()[0] + lines.split()[2], []).append(place_m)
    first_m = at_m['implement"down"'][0] + 1.0
    assert [place_m - first_m for place_m in at_m['implement"down"']] == pytest.approx([-1, 21])
    assert [place_m - first_m for place_m in at_m['implement"up"']] == pytest.approx([7.7, 29.7])


def test_an_alley_without_room_for_the_run_up_is_no_drive(tmp_path, capsys):
    rows = ("plot,treatment,rate_l_ha,length_m,start_m,order,width_m,x_m,y_m,heading_deg\n"
            "1,A,80,8,2,1,3.5,1.75,0,0\n2,C,60,8,2,2,3.5,1.75,9,0\n")
    assert main(["plots", "scenario", str(written(tmp_path, rows)), "--machine", str(MACHINE),
                 "--speed", "6 km/h", "--out", str(tmp_path / "out")]) == 2
    assert "plot 2: the implement comes down 2.0 m before it, but the alley is only 1.0 m long" in (
        capsys.readouterr().err)
    rows = rows.replace("_l_ha", "_gal_ac").replace("length_m", "length_ft").replace(
        "start_m", "start_ft").replace("width_m", "width_ft").replace("x_m,y_m", "x_ft,y_ft")
    [told] = room_problems(read_plan(written(tmp_path, rows)))
    assert "comes down 2.0 ft before it, but the alley is only 1.0 ft long" in told
    assert not (tmp_path / "out").exists()


def test_the_lift_is_ahead_by_what_the_machine_is_late_to_stop():
    settings = load_machine(MACHINE).settings
    late_ms = settings.switch_debounce_ms + settings.implement_stop_delay_ms
    assert lift_ahead_s(settings) == pytest.approx(TICK_MS / 2000 + late_ms / 1000)


def test_a_scenario_is_read_from_any_folder(plan, tmp_path, monkeypatch):
    """The machine is named relative to where the scenario lies."""
    monkeypatch.chdir(tmp_path)
    assert main(["plots", "scenario", "plan.csv", "--machine", str(MACHINE), "--speed", "6 km/h",
                 "--out", "deep/trial"]) == 0
    monkeypatch.chdir(tmp_path / "deep")
    scenario = load_scenario(Path("trial/scenario.toml"))
    assert scenario.section_width_m == [1.0, 1.5, 1.0]
    assert len([event for event in scenario.events if "came down" in event.words]) == 20


@pytest.mark.parametrize("speed", ["0", "99 km/h", "fast", "5 L"])
def test_a_speed_that_cannot_be_is_refused(plan, tmp_path, capsys, speed):
    assert main(["plots", "scenario", str(tmp_path / "plan.csv"), "--machine", str(MACHINE),
                 "--speed", speed, "--out", str(tmp_path / "x")]) == 2
    assert "--speed" in capsys.readouterr().err


def test_a_plan_with_another_line_end_and_mark_is_understood(tmp_path):
    plain = read_plan(written(tmp_path, SOUND))
    (tmp_path / "plan.csv").write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert read_plan(tmp_path / "plan.csv") == plain
    write_files(tmp_path, {"plan.csv": SOUND.replace(",", "\t")})
    assert read_plan(tmp_path / "plan.csv") == plain

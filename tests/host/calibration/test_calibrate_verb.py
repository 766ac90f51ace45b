"""`calibrate`: published worked examples through the command line, refusals, keeping."""

import pytest

from host_sim.__main__ import main
from host_sim.machine_file.keeping import new_text
from host_sim.machine_file.machine import load_machine
from rate_control.settings import Settings


def calibrate(capsys, *arguments):
    """Run it; returns the exit status and what was printed, blanks squeezed."""
    status = main(["calibrate", *arguments])
    printed = capsys.readouterr()
    return status, [" ".join(line.split()) for line in (printed.out + printed.err).splitlines()]


# Ohio State University Extension, Bulletin 817, http://ohioline.osu.edu/b817/b817_07.html :
# 80 oz on the 1/128-acre time are 80 GPA. University of Florida Digital Collections UF00067548,
# https://ufdcimages.uflib.ufl.edu/UF/00/06/75/48/00001/00006.txt : 26 oz over 300 ft, 12-in
# band, 29.5 GPA; 16 oz, 15-in band, 14.5 GPA (the controller keeps 12 in as 305 mm).
PLOTS = [
    (["--width", "20", "80", "80"], "80.00"),
    (["--width", "12", "--distance", "300", "26"], "29.47"),
    (["--width", "15", "--distance", "300", "16"], "14.52"),
]


@pytest.mark.parametrize(("arguments", "gal_ac"), PLOTS)
def test_published_plots(capsys, arguments, gal_ac):
    status, lines = calibrate(capsys, "plot-catch", "--units", "us", *arguments)
    assert status == 0
    assert f"rate {gal_ac} gal/ac" in lines


def test_published_water_rate(capsys):
    """20 GPA of 28-0-0: 22.6 GPA of water (UNL CropWatch 2016, Oklahoma State, UGA)."""
    _, lines = calibrate(capsys, "density", "--units", "us", "--rate", "20", "--density", "10.65")
    assert "factor sqrt(SG) 1.130" in lines
    assert any("catch 22.59 gal/ac of water" in line for line in lines)
    assert any("flow meter decides: no factor" in line for line in lines)


def test_both_unit_systems_give_the_same_settings(capsys):
    _, metric = calibrate(capsys, "meter-catch", "1800=4 L", "1802=4 L", "1798=4 L")
    _, customary = calibrate(capsys, "meter-catch", "--units", "us",
                             "1800=4 L", "1802=4 L", "1798=4 L")
    assert "result 450.00 pulses/L" in metric
    assert "result 1703.4 pulses/gal" in customary


def test_not_yet_says_how_much_and_keeps_nothing(capsys, tmp_path):
    path = tmp_path / "machine.toml"
    path.write_text(new_text("Bar", False, Settings()))
    status, lines = calibrate(capsys, "meter-catch", "--into", str(path),
                              "90=0.2 L", "90=0.2 L", "90=0.2 L")
    assert status == 1
    assert lines[-1] == "Not yet: runs too short; each must be at least 2444 mL"
    assert load_machine(path).settings.meter_pulses_hl == 45000
    assert not (tmp_path / "machine.toml.before").exists()


def test_what_is_kept_can_be_undone(capsys, tmp_path):
    path = tmp_path / "machine.toml"
    path.write_text(MINE)
    status, lines = calibrate(capsys, "tank-check", "--into", str(path),
                              "--meter", "1210 L", "1188 L")
    assert status == 0
    assert "learned.meter.k_factor 440.00 pulses/L 448.15 pulses/L 1.9 %" in lines
    assert load_machine(path).settings.meter_pulses_hl == 44815
    assert (tmp_path / "machine.toml.before").read_text() == MINE
    assert "# mine\n" in path.read_text()
    assert 'how = "tank check by hand"' in path.read_text()


MINE = '# mine\n[fitted]\nsection_widths = ["3 m"]\nmeter = "440 pulses/L"\n'

REFUSED = [
    (["course", "12x"], "run 1: 12x: not a whole number"),
    (["course", "12500", "0"], "run 2: 0: no pulses: check sensor and cable"),
    (["course", "12500=3"], "run 1: 12500=3: must be PULSES"),
    (["course", "--distance", "3", "12500"], "--distance: must be 30 to 2000 m, is 3"),
    (["course", "--distance", "10 ft", "12500"],
     "--distance: must be 98.4252 to 6561.68 ft, is 10 ft"),
    (["meter-catch", "900"], "run 1: 900: must be PULSES=AMOUNT"),
    (["low-flow-catch", "486=1.2 L"], "run 1: 486=1.2 L: must be PULSES=AMOUNT@TIME"),
    (["meter-catch", "900=2 furlongs"],
     "run 1: 900=2 furlongs: unit 'furlongs' is none of mL, fl oz, L"),
    (["tank-check", "1000 L"], "nothing metered in this job yet"),
    (["tank-check", "--meter", "9 L", "1000 L"],
     "amount 1: 1000 L: far from the metered volume: check it"),
    (["tank-check", "--meter", "900 L", "900 L", "2 L"], "amount 2: 2 L: is one too many"),
    (["course", "--into", "a.toml", "--machine", "b.toml", "12500"],
     "--machine: is not needed beside --into, whose file is used"),
    (["plot-catch", "--set", "colour=3"],
     "colour=3: must be NAME=VALUE, with the name of a plain setting, such as rate='20 gal/ac'"),
    (["plot-catch", "--set", "rate=0"], "rate: must be 1 to 5000 L/ha, is 0"),
    (["density", "--rate", "20", "--density", "9"], "--density: must be 0.5 to 2.5 kg/L, is 9"),
]


@pytest.mark.parametrize(("arguments", "message"), REFUSED)
def test_bad_input_is_one_line(capsys, arguments, message):
    status, lines = calibrate(capsys, *arguments)
    assert status == 2
    assert lines == [f"python -m host_sim calibrate: {message}"]


@pytest.mark.parametrize("procedure", ["course", "meter-catch", "low-flow-catch",
                                       "outlet-catch", "plot-catch", "tank-check"])
def test_the_example_of_each_help_works(capsys, procedure):
    import shlex

    with pytest.raises(SystemExit):
        main(["calibrate", procedure, "--help"])
    text = capsys.readouterr().out
    command = text.split("example:\n  python -m host_sim ")[1].splitlines()[0]
    assert main(shlex.split(command)) == 0

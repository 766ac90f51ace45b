"""Mixing: handbook examples beside their source, limits of labels, plans, jars."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.field_trial.plan_file import read_plan
from host_sim.mixing.batches import batches_of
from host_sim.mixing.mix_file import read_mix

GAL, AC, L, HA = 3.785411784e-3, 4046.8564224, 1e-3, 1e4
PINT, LB, OZ = GAL / 8, 0.45359237, GAL / 128
HEAD = 'tank = "{tank}"\narea = "{area}"\nrate = "{rate}"\n[[product]]\nname = "P"\n'
PLAN = ("plot,treatment,rate_l_ha,length_m,order,width_m\n1,N0,0,10,1,3.5\n2,N1,100,10,2,3.5\n"
        "3,N2,200,10,3,3.5\n4,N1,100,10,4,3.5\n")


def mixed(tmp_path, text, plan=""):
    path = tmp_path / "mix.toml"
    path.write_text(text)
    (tmp_path / "plan.csv").write_text(plan)
    kept = read_plan(tmp_path / "plan.csv") if plan else None
    return batches_of(path, read_mix(path), kept, None)


def one(tmp_path, product, **head):
    [batch] = mixed(tmp_path, HEAD.format(**head) + product)
    return batch


def amounts(batch, unit):
    """Of the only product, for each fill."""
    return [float(batch.parts[0].in_mix * fill) / unit for fill in batch.fills]


def test_thirty_acres_at_forty_litres(tmp_path):
    """30 acres x 40 L/ac = 1,200 L. Source: Alberta Agdex 606-1."""
    batch = one(tmp_path, 'per_area = "1 L/ac"', tank="1500 L", area="30 ac", rate="40 L/ac")
    assert float(batch.volume) / L == pytest.approx(1200)
    assert amounts(batch, L) == pytest.approx([30])


def test_a_full_tank_of_five_hundred_gallons(tmp_path):
    """20 GPA and 500 gal are 25 acres; 3 pt/ac are then 75 pt or 9.37 gal in the tank.

    Source: University of Missouri agricultural engineer quoted in "Get the recipe right",
    http://cornandsoybeandigest.com/print/get-recipe-right
    """
    batch = one(tmp_path, 'per_area = "3 pt/ac"', tank="500 gal", area="25 ac", rate="20 gal/ac")
    assert len(batch.fills) == 1
    assert amounts(batch, PINT) == pytest.approx([75])
    assert amounts(batch, GAL)[0] == pytest.approx(9.37, abs=0.006)


def test_less_than_a_full_tank_of_a_dry_product(tmp_path):
    """15 gal/ac x 3.5 ac = 52.5 gal; 3 lb/ac x 3.5 ac = 10.5 lb.

    Source: agrochemical safety handbook, example 4,
    http://what-when-how.com/Tutorial/topic-166581h5j/Agrochemical-and-Pesticide-Safety-128.html
    """
    batch = one(tmp_path, 'per_area = "3 lb/ac"', tank="100 gal", area="3.5 ac", rate="15 gal/ac")
    assert float(batch.volume) / GAL == pytest.approx(52.5)
    assert amounts(batch, LB) == pytest.approx([10.5])
    assert batch.water(batch.volume) == batch.volume


def test_a_load_by_ounces(tmp_path):
    """50 gal at 100 gal/ac with 7 oz/ac: 3.5 oz a load.

    Source: calibration instructions, https://paperzz.com/doc/9164538/sprayer-calibration-instructions
    """
    batch = one(tmp_path, 'per_area = "7 fl oz/ac"', tank="50 gal", area="0.5 ac",
                rate="100 gal/ac")
    assert amounts(batch, OZ) == pytest.approx([3.5])


def test_pounds_for_a_hundred_gallons(tmp_path):
    """500 gal x 2 lb / 100 gal = 10 lb: the formula of
    https://www.ahi-intl.farm/post/calculating-dilutions
    """
    batch = one(tmp_path, 'per_mix = "2 lb/100 gal"', tank="500 gal", area="25 ac",
                rate="20 gal/ac")
    assert amounts(batch, LB) == pytest.approx([10])


NITROGEN = ('tank = "300 gal"\narea = "10 ac"\n[[product]]\nname = "28-0-0"\nundiluted = true\n'
            'nutrient = "75 lb N/ac"\nanalysis = "28-0-0"\ndensity = "10.65 lb/gal"\n')


def test_from_nitrogen_to_the_rate(tmp_path):
    """75 lb N/ac from 28-0-0 at 10.65 lb/gal: 2.982 lb N/gal, 25.151 gal/ac.

    Source: UNL CropWatch 2016, "Setting the Sprayer Flow Rate for Non-Water Solutions",
    https://cropwatch.unl.edu/2016/setting-sprayer-flow-rate-non-water-solutions
    """
    [batch] = mixed(tmp_path, NITROGEN)
    assert float(batch.grounds[0].rate_m) / GAL * AC == pytest.approx(25.151, abs=0.0006)
    part = batch.parts[0]
    assert float(part.nutrient(Fraction(GAL))) / LB == pytest.approx(2.982, abs=0.0006)
    assert batch.water(batch.volume) == 0


def test_from_the_rate_to_nitrogen(tmp_path):
    """20 gal/ac of 28 % at 10.6 lb/gal are 59.4 lb N/ac ("technically").

    Source: Purdue Extension soil fertility specialist in
    https://www.farmprogress.com/soil-health/basic-calculations-for-nitrogen-fertilizers
    """
    text = NITROGEN.replace('nutrient = "75 lb N/ac"\n', "").replace("10.65", "10.6").replace(
        "[[product]]", 'rate = "20 gal/ac"\n[[product]]')
    [batch] = mixed(tmp_path, text)
    part = batch.parts[0]
    nitrogen = part.nutrient(part.dose(batch.grounds[0].rate_m))
    assert float(nitrogen) / LB * AC == pytest.approx(59.4, abs=0.05)


def test_fills_are_full_but_the_last_and_hold_everything(tmp_path):
    batch = one(tmp_path, 'per_area = "2 L/ha"', tank="200 L", area="5 ha", rate="90 L/ha")
    assert [float(fill) / L for fill in batch.fills] == pytest.approx([200, 200, 50])
    assert sum(amounts(batch, L)) == pytest.approx(10)
    assert float(batch.water(batch.volume)) / L == pytest.approx(440)


def test_the_reserve_is_mixed_like_the_rest(tmp_path):
    text = HEAD.format(tank="200 L", area="1 ha", rate="100 L/ha").replace(
        "[[product]]", 'reserve = "10 L"\n[[product]]') + 'per_area = "1 L/ha"'
    [batch] = mixed(tmp_path, text)
    assert float(batch.volume) / L == pytest.approx(110)
    assert amounts(batch, L) == pytest.approx([1.1])


def test_one_mix_for_a_plan_whose_rates_differ(tmp_path):
    """The dose goes with the rate; `rate` says for which one it was stated."""
    text = ('tank = "20 L"\nrate = "100 L/ha"\n[[product]]\nname = "P"\nper_area = "1 L/ha"\n'
            'at_most = "1.5 L/ha"\n')
    [batch] = mixed(tmp_path, text, PLAN)
    assert {ground.name: float(ground.area_m2) for ground in batch.grounds} == {"N1": 70, "N2": 35}
    assert float(batch.volume) / L == pytest.approx(0.7 + 0.7)
    assert [float(batch.parts[0].dose(ground.rate_m)) * HA / L for ground in batch.grounds] == (
        pytest.approx([1, 2]))


def test_a_jar_for_each_treatment_has_the_stated_dose(tmp_path):
    text = ('tank = "2 L"\njars = true\nreserve = "0.3 L"\n[[product]]\nname = "P"\n'
            'per_area = "1 L/ha"\n')
    n1, n2 = mixed(tmp_path, text, PLAN)
    assert (n1.name, n2.name) == ("N1", "N2")
    for batch, rate in ((n1, 100), (n2, 200)):
        assert float(batch.parts[0].dose(batch.grounds[0].rate_m)) * HA / L == pytest.approx(1)
        assert amounts(batch, L) == pytest.approx([float(batch.volume) / L / rate])


@pytest.fixture
def mix(tmp_path, monkeypatch, capsys):
    """Runs the verb on a text; returns exit status, lines on stdout, and stderr."""
    monkeypatch.chdir(tmp_path)

    def run(text, *options):
        (tmp_path / "m.toml").write_text(text)
        (tmp_path / "plan.csv").write_text(PLAN)
        status = main(["mix", "m.toml", *options])
        printed = capsys.readouterr()
        return status, printed.out.splitlines(), printed.err

    return run


HERBICIDE = HEAD.format(tank="200 L", area="3 ha", rate="100 L/ha") + 'per_area = "1.2 L/ha"\n'


@pytest.mark.parametrize(("limit", "crossed"), [
    ('at_most = "1.2 L/ha"', False), ('at_most = "1.1 L/ha"', True),
    ('at_most = "2 pt/ac"', False), ('at_most = "1 pt/ac"', True),
    ('at_most_in_mix = "12 mL/L"', False), ('at_most_in_mix = "1 fl oz/gal"', True),
    ('mix_at_least = "100 L/ha"', False), ('mix_at_least = "15 gal/ac"', True),
    ('mix_at_most = "400 L/ha"', False), ('mix_at_most = "80 L/ha"', True),
])
def test_limits_of_the_label_are_checked_and_prevail(mix, limit, crossed):
    status, lines, _ = mix(HERBICIDE + limit)
    assert status == int(crossed)
    word = "LIMIT CROSSED: P: " if crossed else "within limits: P: "
    assert any(line.startswith(word) for line in lines), lines
    assert lines[-1] == "The product label and local rules prevail over this and over any plan."


def test_a_limit_of_another_kind_needs_the_density(mix):
    assert mix(HERBICIDE + 'at_most = "1 kg/ha"')[0] == 1
    assert mix(HERBICIDE + 'at_most = "1 kg/ha"\ndensity = "0.8 kg/L"')[0] == 0
    assert mix(HERBICIDE + 'at_most = "1 kg/ha"\ndensity = "0.9 kg/L"')[0] == 1


def test_the_highest_rate_of_a_plan_is_judged(mix):
    text = ('tank = "20 L"\nrate = "100 L/ha"\n[[product]]\nname = "P"\nper_area = "1 L/ha"\n'
            'at_most = "{} L/ha"\n')
    status, lines, _ = mix(text.format("1.5"), "--plan", "plan.csv")
    assert status == 1 and any("2 L/ha on N2, more than the 1.5 L/ha" in line for line in lines)
    assert mix(text.format("2"), "--plan", "plan.csv")[0] == 0


def test_what_is_printed_is_what_is_written(mix, tmp_path):
    status, lines, _ = mix(HERBICIDE, "--csv", "out.csv")
    assert status == 0
    assert "  fill 1: 200 L" in lines and "    P: 2.4 L" in lines and "    water: 197.6 L" in lines
    rows = list(csv.DictReader(io.StringIO((tmp_path / "out.csv").read_text())))
    assert [(row["fill"], row["item"], row["amount"]) for row in rows] == [
        ("1", "P", "2.4"), ("1", "water", "197.6"), ("2", "P", "1.2"), ("2", "water", "98.8")]


def test_us_units(mix):
    lines = mix(NITROGEN, "--units", "us")[1]
    assert "  25.15 gal/ac, that is 25.15 gal/ac of 28-0-0 (75 lb N/ac)" in lines


def test_amounts_too_small_for_the_measure_are_told(mix):
    """Half a step of 1 mL in 3.6 mL is 14 %."""
    small = HERBICIDE.replace("3 ha", "30 m2").replace("[[product]]", 'step = "1 mL"\n[[product]]')
    assert any("cannot be measured within 5 %" in line for line in mix(small)[1])
    assert not any("cannot be measured" in line for line in mix(
        small.replace('"1 mL"', '"0.3 mL"'))[1])


def test_rinsing_thins_what_was_left(mix):
    """10 L with 10 L thrice: 1/2 x 1/2 x 1/2 stays."""
    text = HERBICIDE.replace("[[product]]", 'reserve = "10 L"\nrinse = "30 L"\n[[product]]')
    assert any("Rinse 3 times with 10 L each; 12 % of the product in the reserve" in line
               for line in mix(text)[1])


@pytest.mark.parametrize(("change", "words"), [
    (("tank", "tanc"), "tank: is missing"),
    (('"200 L"', '"200 kg"'), "tank: must be a volume"),
    (('"100 L/ha"', '"100 L"'), "rate: "),
    (('"100 L/ha"', '"100 kg/ha"'), "rate: must be a volume for each area"),
    (('per_area = "1.2 L/ha"', ""), "needs one of per_area"),
    (('per_area', 'per_mix'), "per_mix: must be a volume or mass for each volume"),
    (('per_area = "1.2 L/ha"', 'nutrient = "40 kg/ha"'), "must be a mass of N"),
    (('per_area = "1.2 L/ha"', 'nutrient = "40 kg N/ha"'), "needs an analysis"),
    (('per_area = "1.2 L/ha"', 'per_area = "120 L/ha"'), "takes more room than there is mix"),
    (('"3 ha"', '"3 m"'), "area: "),
    (('area = "3 ha"\n', ""), "area: is missing"),
    (('rate = "100 L/ha"\n', ""), "rate: is missing"),
    (('"200 L"', '"0.1 L"'), "tank: would have to be filled 3000 times"),
    (("per_area", "undiluted = true\nper_area"), "needs one of"),
])
def test_a_mix_that_cannot_be_is_refused(mix, change, words, tmp_path):
    status, _, err = mix(HERBICIDE.replace(*change), "--csv", "out.csv")
    assert status == 2 and "m.toml" in err and words in err, err
    assert not (tmp_path / "out.csv").exists()


def test_a_plan_with_several_rates_needs_to_know_which_the_dose_holds_for(mix):
    text = 'tank = "20 L"\n[[product]]\nname = "P"\nper_area = "1 L/ha"\n'
    status, _, err = mix(text, "--plan", "plan.csv")
    assert status == 2 and "say for which the dose of P holds" in err


def test_a_refused_file_raises_for_programs_too(tmp_path):
    with pytest.raises(InputError):
        mixed(tmp_path, "tank = 5")

"""The demonstration's drive with a GNSS receiver in place of the speed sensor, or beside it."""

import pytest

from host_sim.runs.summary import summarise
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.twin import Twin

AS_SOURCE = ('speed_source = "pulses"', 'speed_source = "GNSS"'), (
    "[settings]", '[settings]\nspeed_timeout = "2.5 s"')


BOTH = ('speed_source = "pulses"', 'speed_source = "both"'),


def drive(folder, receiver, ground="", controller=(), events="", trace=None, field="calm"):
    machine = DEMO.with_name("plot_bar.machine.toml").read_text(encoding="utf-8")
    tables = f"[twin.gnss]\n{receiver}[twin.ground]\n{ground}"
    for old, new in (("[twin.ground]\n", tables), *controller):
        assert old in machine
        machine = machine.replace(old, new)
    (folder / "plot_bar.machine.toml").write_text(machine, encoding="utf-8")
    text = DEMO.read_text(encoding="utf-8")
    text = text.replace("../data", str(DEMO.parent.parent / "data"))
    path = folder / "drive.toml"
    path.write_text(text + events, encoding="utf-8")
    return summarise(Twin(load_scenario(path, trace, field=field)).run())


@pytest.mark.parametrize(("hz", "within_pct"), [(1, 93), (5, 98), (10, 98.5)])
def test_receiver_holds_the_rate_the_better_the_oftener_it_reports(
    tmp_path, record_property, hz, within_pct
):
    figures = drive(tmp_path, f"hz = {hz}\n", controller=AS_SOURCE)
    found = figures["distance_within_5_pct"]
    record_property(
        "summary",
        f"GNSS receiver, {hz} reports a second: {found:.1f} % of the way within 5 %, "
        f"{figures['rate_error_rms_pct']:.1f} % rms",
    )
    assert found >= within_pct
    assert figures["controller_area_ha"] == pytest.approx(figures["area_ha"], rel=1e-3)
    assert not figures["faults"] and not figures["warnings"]


def test_wheel_that_slips_by_a_fifth_is_found_out_by_the_receiver(tmp_path):
    figures = drive(tmp_path, "hz = 5\n", ground="slip_share = 0.2\n")
    assert "speed_differs" in figures["warnings"]
    assert "speed_differs" not in drive(tmp_path, "hz = 5\n")["warnings"]


def test_bursts_of_slip_cost_less_than_half_where_both_are_the_source(tmp_path, record_property):
    trace = tmp_path / "even.csv"
    trace.write_text("time_s,speed_m_s\n0,3\n165,3\n", encoding="utf-8")
    bursts = "\n[[event]]\nat_s = 10\nslip_bursts_per_min = 10\n"
    rms_pct = [drive(tmp_path, "hz = 5\n", controller=controller, events=events, trace=trace)
               ["rate_error_rms_pct"]
               for controller, events in (((), ""), ((), bursts), (BOTH, bursts))]
    record_property(
        "summary", "rate error, rms, calm field, by wheel {:.2f} %, with bursts of slip {:.2f} %, "
        "by both {:.2f} %".format(*rms_pct))
    alone, slipping, both = (figure * figure for figure in rms_pct)
    assert both - alone < 0.25 * (slipping - alone)


def test_both_are_as_good_as_the_wheel_in_calm_and_better_elsewhere(tmp_path, record_property):
    for field, most in (("calm", 1.03), ("ordinary", 0.97), ("rough", 0.99)):
        wheel, both = (drive(tmp_path, "hz = 5\n", controller=controller, field=field)
                       ["rate_error_rms_pct"] for controller in ((), BOTH))
        record_property("summary", f"rate error, rms, {field} field, by wheel {wheel:.2f} %, "
                        f"by both {both:.2f} %")
        assert both < most * wheel, field


def test_fix_that_is_lost_stops_the_flow_and_says_so(tmp_path):
    lost = "\n[[event]]\nat_s = 60\ngnss_lost = true\n[[event]]\nat_s = 90\ngnss_lost = false\n"
    whole = drive(tmp_path, "hz = 5\n", controller=AS_SOURCE)
    figures = drive(tmp_path, "hz = 5\n", controller=AS_SOURCE, events=lost)
    assert "speed_lost" in figures["warnings"]
    assert figures["area_ha"] < whole["area_ha"]
    assert figures["distance_within_5_pct"] > 95

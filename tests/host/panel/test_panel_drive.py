"""A drive in the panel is saved as a run: what is in it, how much, and where it goes."""

import json

import numpy as np
import pytest

from host_sim.common.errors import InputError
from host_sim.panel import drive_record
from host_sim.panel.drive_record import DriveRecord
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.saver import Saver
from host_sim.panel.start import in_background
from host_sim.runs.files import read_run
from host_sim.runs.record import to_csv
from host_sim.runs.summary import summarise
from host_sim.runs.truth import true_run
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.interlock import APPLYING
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.support.panel_client import Raw, StillSession
from tests.support.panel_game import Played

TICK_S = 0.05


@pytest.fixture
def twin():
    return LiveTwin(load_scenario(DEMO, field="calm"))


@pytest.fixture
def played(twin, tmp_path):
    return Played(twin, tmp_path / "out")


def saved(played, us=False):
    """Save as a person does; returns the directory that the page is told."""
    played.play(0.1, ("save", us))
    played.saver.wait()
    played.play(0.1)
    return played.saver.report(played.latest["drive"]["saved"]["name"]).parent


def test_a_drive_is_saved_with_what_people_did_and_reads_back_as_a_run(played):
    played.play(20.0, ("master", True), ("implement", True), ("throttle", 0.3),
                ("throttle", 0.5), ("rate", 90_000))
    played.play(5.0, ("trouble", "air", True), ("section", 1, False))
    directory = saved(played)
    record, figures = read_run(directory)
    assert sorted(path.name for path in directory.iterdir()) == [
        "datapackage.json", "pass_sections.csv", "passes.csv", "report.html", "run.csv",
        "summary.json"]
    assert figures["volume_l"] == pytest.approx(figures["controller_volume_l"], rel=0.1) != 0
    assert np.allclose(np.diff(record["time_s"]), TICK_S)
    words = [event["words"] for event in record.about["events"]]
    assert words[:3] == ["the master was switched on", "the implement came down", "throttle 50 %"]
    assert words[3].startswith("the rate was set to 90")
    assert words[4:] == ["air in the line", "section 2 was switched off"]
    assert [event["who"] for event in record.about["events"][-2:]] == ["fault", "hands"]
    assert (directory / "report.html").read_text().count("throttle 50 %") == 1


def test_the_record_says_what_the_ground_got(twin):
    """Truth as judged from the record is what the twin itself accounted for."""
    record = DriveRecord(twin, load_scenario(DEMO, field="calm"))
    twin.after_step = record.note
    twin.board.switches |= SWITCH_IMPLEMENT
    twin.vehicle.at_speed(3.0)
    twin.live(1.0)
    twin.board.switches |= SWITCH_MASTER
    twin.live(9.0)
    run = record.finish()
    assert run.section_ml[-1] == pytest.approx(twin.machine.section_volume_ml)
    truth = true_run(run, run.about["section_width_m"])
    assert truth.distance_m[-1] + truth.step_m[-1] == pytest.approx(twin.machine.distance_m)
    assert (run["state"] == APPLYING).any()
    assert len(run) == 200 and np.allclose(np.diff(run["time_s"]), TICK_S)
    counted_m = run["distance_mm"].sum() / 1e3
    assert counted_m == pytest.approx(twin.machine.distance_m, rel=0.05)


def test_what_was_counted_is_counted_once_where_ticks_are_missing(played):
    played.play(10.0, ("master", True), ("implement", True), ("throttle", 0.5))
    played.play(3.0, ("hang",))
    run = played.game.drive.finish()
    assert np.diff(run["time_s"]).max() <= 2 * TICK_S
    assert run.about["resets"] == ["watchdog"]
    assert "the program hangs" in [event["words"] for event in run.about["events"]]
    hung_s = run.about["events"][-1]["time_s"]
    missing = (run["time_s"] > hung_s + TICK_S) & (run["time_s"] < hung_s + 4 * TICK_S)
    assert missing.sum() >= 2 and (run["state"][missing] == APPLYING).all()
    assert not run["volume_ul"][missing].any() and not run["distance_mm"][missing].any()


def test_the_beginning_is_let_go_of_and_that_is_told(played, monkeypatch):
    monkeypatch.setattr(drive_record, "KEPT_TICKS", 100)
    monkeypatch.setattr(drive_record, "LET_GO_TICKS", 20)
    played.play(30.0, ("master", True), ("implement", True), ("throttle", 0.5))
    assert 100 <= len(played.game.drive) < 120
    told_s = played.latest["drive"]["let_go_s"]
    assert 24 <= told_s <= 26
    run = played.game.drive.finish()
    assert run["time_s"][0] == pytest.approx(TICK_S)
    assert run["true_distance_m"][0] < 0.3 and (run.section_ml[0] < 10).all()
    assert run.about["events"] == []
    assert f"began {told_s} s earlier" in run.about["cut_off"]
    kept_s = (len(played.game.drive) - 1) * TICK_S
    assert summarise(run)["travelled_m"] == pytest.approx(kept_s * 3.0, rel=0.1)
    directory = saved(played)
    read_run(directory)
    assert "the last hour of a drive" in (directory / "report.html").read_text()


def test_nothing_is_overwritten_and_a_machine_that_stood_still_is_saved_too(played):
    first = saved(played)
    before = (first / "run.csv").read_bytes()
    played.play(1.0)
    second = saved(played, us=True)
    assert first != second and (first / "run.csv").read_bytes() == before
    assert json.loads((second / "summary.json").read_text())["ticks"] > before.count(b"\n") - 1


def test_a_place_that_cannot_be_written_is_told_before_and_after(played, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="is in the way"):
        Saver(tmp_path / "file" / "drives")
    (tmp_path / "out").write_text("in the way by now")
    played.play(0.1)
    played.play(0.1, ("save", False))
    played.saver.wait()
    played.play(0.1)
    assert "is not saved" in played.latest["refused"]
    assert played.latest["drive"]["saved"] is None
    assert (tmp_path / "out").read_text() == "in the way by now"


def test_a_second_save_waits_for_the_first(played, monkeypatch):
    played.play(0.1)
    monkeypatch.setattr(Saver, "busy", True)
    played.play(0.1, ("save", False))
    assert played.latest["refused"] == "a drive is being saved already"
    assert not (played.out).exists()


class WithReport(StillSession):
    """Has saved one drive."""

    path = None

    def report(self, name):
        return self.path if name == "drive_1" else None


def test_a_report_is_served_to_who_has_the_token_and_nothing_else_of_the_folder(tmp_path):
    session = WithReport()
    session.path = tmp_path / "report.html"
    session.path.write_text("<p>the report</p>")
    (tmp_path / "run.csv").write_text("secret")
    with in_background(session, "0.0.0.0") as public:
        with Raw(public, "/drives/drive_1") as answer:
            assert answer.status == 403
        for name in ("drive_2", "../run.csv", "drive_1/run.csv", ""):
            with Raw(public, f"/drives/{name}?token={public.token}") as answer:
                assert answer.status == 404, name
        with Raw(public, f"/drives/drive_1?token={public.token}") as answer:
            assert answer.status == 200 and b"the report" in answer.body()
            assert answer.reply.count("Content-Security-Policy") == 1
            assert "sandbox" in answer.reply and "script-src" not in answer.reply
        session.path.unlink()
        with Raw(public, f"/drives/drive_1?token={public.token}") as answer:
            assert answer.status == 404


def test_every_value_of_a_saved_record_can_be_read_back(played):
    played.play(2.0)
    assert "nan" not in to_csv(played.game.drive.finish())

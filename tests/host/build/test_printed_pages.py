"""Pages that show what a command prints: the blocks are found, renewed, and a part of them true."""

from __future__ import annotations

import re

import pytest

from host_sim.build import printed_pages
from host_sim.build.printed_pages import DIRECTORY, part, printed_blocks, renewed
from host_sim.common.errors import InputError
from host_sim.trials.acceptance.session import run_acceptance
from host_sim.trials.acceptance.table import acceptance_text
from host_sim.trials.campaign.session import run_campaign
from host_sim.trials.campaign.table import campaign_text
from host_sim.trials.fields import drive_field, fields_text
from host_sim.twin.disturbances import CALM
from host_sim.twin.scenario import DEMO, load_scenario

PRINTED = "first 1\nsecond 2\n\nclaims\n  holds  all\n\n"
PAGE = ("# Page\n\n<!-- printed by: python -m some; from: claims -->\n```\nclaims\n  old\n```\n"
        "then\n<!-- printed by: python -m some -->\n```\n```\n")


def test_a_part_begins_with_its_words_and_ends_before_the_next_empty_line() -> None:
    assert part(PRINTED, "first") == "first 1\nsecond 2\n"
    assert part(PRINTED, "claims") == "claims\n  holds  all\n"
    assert part(PRINTED, "") == "first 1\nsecond 2\n\nclaims\n  holds  all\n"
    with pytest.raises(InputError, match="'third'"):
        part(PRINTED, "third")


def test_each_block_is_written_anew_and_nothing_else() -> None:
    commands: list[str] = []

    def run(command: str) -> str:
        commands.append(command)
        return PRINTED

    text = renewed(PAGE, run)
    assert commands == 2 * ["python -m some"]
    assert [block.text for block in printed_blocks(text)] == [
        "claims\n  holds  all\n", "first 1\nsecond 2\n\nclaims\n  holds  all\n"]
    assert text.startswith("# Page\n\n<!--") and "```\nthen\n<!--" in text
    assert renewed(text, run) == text


def test_what_differs_is_named_and_nothing_written(tmp_path, monkeypatch, capsys) -> None:
    page = tmp_path / "some.md"
    page.write_text(PAGE)
    monkeypatch.setattr(printed_pages, "DIRECTORY", tmp_path)
    monkeypatch.setattr(printed_pages, "run_command", lambda command: PRINTED)
    assert printed_pages.main(["--check"]) == 1
    assert "some.md differs" in capsys.readouterr().out and page.read_text() == PAGE
    assert printed_pages.main(["some"]) == 0
    assert printed_pages.main(["--check"]) == 0
    with pytest.raises(SystemExit):
        printed_pages.main(["other"])
    assert "no page other has a printed block; those that have: some" in capsys.readouterr().err


def test_a_command_that_fails_leaves_the_page_as_it_is(tmp_path, monkeypatch, capsys) -> None:
    page = tmp_path / "some.md"
    page.write_text(PAGE.replace("python -m some", "python -m host_sim drive nowhere.toml"))
    before = page.read_text()
    monkeypatch.setattr(printed_pages, "DIRECTORY", tmp_path)
    assert printed_pages.main([]) == 2
    assert "ended with 2" in capsys.readouterr().err and page.read_text() == before


def test_the_pages_of_long_runs_have_their_blocks() -> None:
    found = {path.stem: len(printed_blocks(path.read_text())) for path in printed_pages.pages()}
    assert found == {"acceptance": 5, "campaign": 2, "fields": 1}
    for path in printed_pages.pages():
        assert path.read_text().count("<!-- printed by") == found[path.stem], path


def test_the_page_of_acceptance_tells_what_is_found() -> None:
    """One machine; the rows before the resetting series, which needs all seven repeats."""
    block, *_ = printed_blocks((DIRECTORY / "acceptance.md").read_text())
    told = block.text[:block.text.index("rate up")]
    found = acceptance_text(run_acceptance(("electric_m",), repeats=2, trace=False), us=False)
    assert found.startswith(told)


def test_the_page_of_the_campaign_tells_what_is_found() -> None:
    """The first build among the late ones, by itself."""
    block, *_ = printed_blocks((DIRECTORY / "campaign.md").read_text())
    line = next(line for line in block.text.splitlines() if line.startswith("  seed "))
    seed = int(re.findall(r"seed (\d+)", line)[0])
    assert line in campaign_text(run_campaign(1, seed, None, lambda share: None)).splitlines()


def test_the_page_of_the_fields_tells_what_is_found() -> None:
    """One field, by the controller."""
    block, *_ = printed_blocks((DIRECTORY / "fields.md").read_text())
    *heads, line = fields_text([drive_field(load_scenario(DEMO), CALM, radar=False)]).splitlines()
    assert block.text.splitlines()[:len(heads) + 1] == [*heads, line]

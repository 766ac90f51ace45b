"""Runs every lab and puts its figures into the instructor's notes: `python -m host_sim.labs`."""

from __future__ import annotations

from host_sim.common.arguments import takes_nothing
from host_sim.common.progress import progress
from host_sim.labs.sheet import notes_of, run, sheets, with_figures


def main() -> None:
    """Bring all notes up to date."""
    takes_nothing("host_sim.labs", __doc__)
    found = sheets()
    with progress("running the labs") as tell:
        for number, sheet in found.items():
            notes = notes_of(sheet)
            text = with_figures(notes.read_text(encoding="utf-8"), run(sheet))
            notes.write_text(text, encoding="utf-8", newline="\n")
            tell(number / len(found))


if __name__ == "__main__":
    main()

"""What came of a board on the bench rig, as text: the acceptance table, the twin's rows first."""

from __future__ import annotations

from host_sim.board.rig_check import LATER_S, LITRES_MORE, MORE_WRONG, RigOutcome
from host_sim.trials.acceptance.table import trial_text

LATE_MS = 10.0  # the rig's pulses have as much in hand


def rig_text(outcome: RigOutcome, us: bool) -> str:
    """Everything, ready to print."""
    lines = [trial_text(outcome.trial, us), ""]
    lines += [f"NOTE  {note}" for note in outcome.notes]
    if outcome.late_ms > LATE_MS:
        lines.append(f"NOTE  the rig's longest step was {outcome.late_ms:.0f} ms late: its pulses "
                     "were held up by what is above 10 ms")
    lines += [f"FAIL  {text}" for text in outcome.behind]
    if not outcome.behind:
        lines.append(f"PASS  each part within 5 % at most {LATER_S:g} s later than the twin, and "
                     f"in the wrong place at most {MORE_WRONG:g} x its litres + {LITRES_MORE:g} L")
    return "\n".join(lines)

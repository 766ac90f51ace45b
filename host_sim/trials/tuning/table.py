"""What `tune` found, as text."""

from __future__ import annotations

from host_sim.machine_file.homes import LEARNED, key_of
from host_sim.machine_file.values import show
from host_sim.trials.tuning.loop import GAIN_MARGIN_LEAST, PHASE_MARGIN_LEAST_DEG
from host_sim.trials.tuning.session import Tuned
from rate_control.settings import row


def tuned_text(tuned: Tuned, us: bool) -> str:
    """The table that is printed."""
    lines = [tuned.name]
    for name in (*tuned.found.curve.proposal, *tuned.found.step.proposal):
        key = key_of(name).removeprefix(f"{LEARNED}.")
        lines.append(f"  {key:24}{_value(tuned, name, us)}")
    step, margins, gains = tuned.found.step, tuned.margins, tuned.gains
    lines.append(f"  {'gain against the curve':24}{step.fact('gain against the curve') / 10:.1f} %")
    lines.append(f"  {'SIMC gains':24}proportional {gains.proportional:.3f}, "
                 f"integral {gains.integral:.4f} a tick")
    lines.append(f"  {'gain margin':24}{margins.gain:.1f} (least {GAIN_MARGIN_LEAST:g})")
    lines.append(f"  {'phase margin':24}{margins.phase_deg:.0f} degrees "
                 f"(least {PHASE_MARGIN_LEAST_DEG:g})")
    lines.append(f"  {'settling time':24}{_settling(tuned)}")
    return "\n".join(lines)


def _settling(tuned: Tuned) -> str:
    given_s = tuned.settings.settling_time_ms / 1e3
    text = f"asked {tuned.wish.settling_s:.2f} s, given {given_s:.2f} s"
    why = tuned.found.step.fact("wish too brisk")
    return f"{text}: {why}" if why else text


def _value(tuned: Tuned, name: str, us: bool) -> str:
    value = getattr(tuned.settings, name)
    entry = row(name)
    if isinstance(value, list):
        first, last = show(entry, value[0], us), show(entry, value[-1], us)
        return f"{len(value)} points, {first} to {last}"
    return show(entry, value, us)

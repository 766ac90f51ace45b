"""The last gate: an output is a command and a permit, never a command alone."""

from rate_control.interlock import OUTPUTS_ON


def gate(loop, decided, outputs):
    """Fill outputs with the command where the state permits it; make them safe otherwise."""
    if not OUTPUTS_ON >> decided.state & 1:
        outputs.make_safe()
        return
    outputs.section_mask = decided.section_mask
    loop.drive(decided, outputs)

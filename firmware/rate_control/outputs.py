"""The last gate: an output is a command and a permit, never a command alone."""

from rate_control.interlock import APPLYING, BENCH


def gate(state, section_mask, duty_u16, outputs):
    """Fill outputs with the command where the state permits it; make them safe otherwise."""
    if state != APPLYING and state != BENCH:
        outputs.make_safe()
        return
    outputs.duty_u16 = duty_u16
    outputs.section_mask = section_mask

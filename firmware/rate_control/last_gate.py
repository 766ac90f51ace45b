"""The last gate: an output is a command and a permit, never a command alone."""

from rate_control.interlock import OUTPUTS_ON, SECTIONS_ON

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_loop import PumpLoop
    from rate_control.records import Decided, Outputs
    from rate_control.valve_loop import ValveLoop


def gate(loop: "PumpLoop | ValveLoop", decided: "Decided", outputs: "Outputs") -> None:
    """Fill outputs with the command where the state permits it; make them safe otherwise."""
    if not OUTPUTS_ON >> decided.state & 1:
        outputs.make_safe()
        return
    outputs.section_mask = decided.section_mask if SECTIONS_ON >> decided.state & 1 else 0
    loop.drive(decided, outputs)

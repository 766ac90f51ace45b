"""The operations on procedures, calibrations and tests; those on all else are in operations.py."""

from rate_control import interlock
from rate_control.procedures import DONE, RUNNING

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.controller import Controller
    from rate_control.procedures.procedure import Procedure

NOT_BENCH = "only on the bench"
AT_MACHINE = "confirm at the machine"


class ProcedureOperations:
    """What can be asked of the procedures of one controller.

    asked is (name, parameters) of a procedure that waits for its confirmation, or None.
    """

    def __init__(self, controller: "Controller") -> None:
        self.controller = controller
        self.asked: tuple[str, dict] | None = None

    def change_settings(self, changes: dict) -> list[str]:
        """See Operations."""
        raise NotImplementedError

    def begin_procedure(
        self, name: str, parameters: dict, confirmed_at_machine: bool = False
    ) -> str:
        """Begin a calibration or test by its name in the catalogue.

        One that drives an output waits in asked until a person confirms it at the machine.
        """
        from rate_control.procedures import catalogue  # seldom used, so loaded when it is
        if self.running_procedure() is not None:
            return "another procedure is running"
        procedure, problem = catalogue.make(
            name, parameters, self.controller.settings, self.controller.totals)
        if problem:
            return problem
        if procedure.NEEDS_BENCH:
            if not confirmed_at_machine:
                self.asked = (name, parameters)
                return ""
            if self.controller.interlock.state != interlock.BENCH:
                return NOT_BENCH
        self.asked = None
        self.controller.procedure = procedure
        return ""

    def running_procedure(self) -> "Procedure | None":
        """Return the procedure that is running, or None."""
        procedure = self.controller.procedure
        return procedure if procedure is not None and procedure.state == RUNNING else None

    def act(self, action: str, value: int | None = None) -> str:
        """Do one of the actions that the running procedure accepts (see procedure.py)."""
        procedure = self.running_procedure()
        return "no procedure is running" if procedure is None else procedure.act(action, value)

    def stop_procedure(self) -> str:
        """Stop the procedure that is running, and forget one that was asked for."""
        self.asked = None
        procedure = self.running_procedure()
        if procedure is not None:
            procedure.stop()
        return ""

    def keep_proposal(self) -> list[str]:
        """Take the settings that a finished procedure proposes; return a list of problems."""
        procedure = self.controller.procedure
        if procedure is None or procedure.state != DONE:
            return ["nothing is proposed"]
        problems = self.change_settings(procedure.proposal())
        if not problems:
            self.controller.procedure = None
        return problems

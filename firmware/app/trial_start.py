"""Loads the trial at the start, where there is a plan on the board and room for it."""

from app.parts import NO_ROOM, has_room

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.files import LogFiles
    from app.operator import Operator

SIZE = 9000  # bytes of heap as bytecode


def fit(application: "Application", files: "LogFiles", operator: "Operator") -> None:
    """Give an application its trial; one that a power cut stopped is shown at once."""
    if not has_room(SIZE):
        application.notes.append(NO_ROOM % "plan")
        return
    from app import trial
    if trial.fit(application, files):
        operator.follow(application.trial.screen())  # type: ignore[union-attr]  # it was fitted

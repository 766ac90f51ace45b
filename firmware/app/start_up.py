"""Puts the application together above a board."""

import gc

from app import loaded
from app.application import Application
from app.gnss import CAN_GNSS, Gnss
from app.link import Link
from app.operator import Operator
from app.run_log import RunLog
from app.store import Store

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from app.files import LogFiles
    from boards.board import Board
    from rate_control.controller import Controller
    from rate_control.settings import Settings

LINK_MS = 5
RUN_LOG_MS = 200


def build(
    board: "Board", make_controller: "Callable[[Settings], Controller] | None" = None
) -> Application:
    """Return the application with all its jobs, not yet started.

    make_controller, where given, makes what decides; see Operations.
    """
    loaded.keep()
    files = board.files()
    application = Application(board, Store(files, board.retained()), make_controller)
    from app.parts import fit
    fit(application, files)
    run_log = start_log(application, files)
    operator = Operator(application)
    if application.trial is not None and application.trial.on:  # a power cut stopped it
        operator.follow(application.trial.screen())
    can_use = application.controller.settings.can_use  # what it tells is not asked of sentences
    receiver = board.gnss_stream() if can_use != CAN_GNSS else None
    if receiver is not None:
        gnss = Gnss(receiver, None if can_use else application.inputs, board.now_us,
                    application.position)
        application.jobs.add("gnss", Gnss.PERIOD_MS, gnss.poll)
    stream = board.link_stream()
    if stream is not None:
        link = Link(stream, application, run_log, operator.grid)
        application.jobs.add("link", LINK_MS, link.poll)
    loaded.forget()
    gc.collect()
    return application


def start_log(application: Application, files: "LogFiles") -> RunLog:
    """Return the run log, which begins with what was done at the start with what was kept."""
    store: "Any" = application.store  # there is one wherever there are files
    run_log = RunLog(store, files, application.ring)
    if application.notes:
        run_log.note(application.notes)
    application.jobs.add("run log", RUN_LOG_MS, run_log.poll)
    return run_log

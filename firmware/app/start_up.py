"""Puts the application together above a board."""

import gc

from app import loaded
from app.application import Application
from app.gnss import Gnss
from app.link import Link
from app.operator import Operator
from app.run_log import RunLog
from app.store import Store

LINK_MS = 5
RUN_LOG_MS = 200


def build(board, make_controller=None):
    """Return the application with all its jobs, not yet started.

    make_controller, where given, makes what decides; see Operations.
    """
    files = board.files()
    store = Store(files, board.retained())
    application = Application(board, store, make_controller)
    run_log = RunLog(store, files, application.ring)
    application.jobs.add("run log", RUN_LOG_MS, run_log.poll)
    operator = Operator(application)
    receiver = board.gnss_stream()
    if receiver is not None:
        gnss = Gnss(receiver, application.inputs, board.now_us)
        application.jobs.add("gnss", Gnss.PERIOD_MS, gnss.poll)
    stream = board.link_stream()
    if stream is not None:
        link = Link(stream, application, run_log, operator.grid)
        application.jobs.add("link", LINK_MS, link.poll)
    loaded.keep()
    gc.collect()
    return application

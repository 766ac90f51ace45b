"""Modules that are loaded while they are needed: the heap of a small board does not hold all.

Screens and procedures are imported when they are opened. forget() lets go of them once the work
screen is alone again; an object that is still in use keeps its code.
"""

import gc
import sys

PASSING = ("app.screens.", "rate_control.procedures.")
KEPT = ("app.screens.screen", "app.screens.work", "app.screens.fault_words",
        "rate_control.procedures.procedure")


def forget():
    """Drop every module that is not kept, and collect; where memory is no matter, do nothing."""
    if not hasattr(gc, "mem_free"):
        return
    for name in list(sys.modules):
        if name.startswith(PASSING) and name not in KEPT:
            package, _, module = name.rpartition(".")
            del sys.modules[name]
            delattr(sys.modules[package], module)
    gc.collect()

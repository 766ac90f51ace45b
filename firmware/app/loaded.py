"""Modules that are loaded while they are needed: the heap of a small board does not hold all.

Screens and procedures are imported when they are opened, and what the start alone needs when it
does. Whatever was imported since the start is let go of at its end, and whenever the work screen is
alone again; an object that is still in use keeps its code.
"""

import gc
import sys

_kept: set[str] = set()


def keep() -> None:
    """Let what is loaded by now stay loaded; called once, at the start."""
    _kept.update(sys.modules)


def forget() -> None:
    """Drop every module that is not kept, and collect; where memory does not matter, do nothing."""
    if not _kept or not hasattr(gc, "mem_free"):
        return
    for name in list(sys.modules):
        if name not in _kept:
            package, _, module = name.rpartition(".")
            del sys.modules[name]
            if package in sys.modules and hasattr(sys.modules[package], module):
                delattr(sys.modules[package], module)
    gc.collect()

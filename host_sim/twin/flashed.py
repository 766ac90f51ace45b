"""A board as it comes from its owner: settings in its memory, switches wired as they say."""

from __future__ import annotations

from app.parts import PRESSURE_FILE, ZONES_FILE
from app.plan_file import PLAN_FILE
from app.store import Store
from host_sim.twin.virtual_board import MemoryFiles
from rate_control.controller import Controller
from rate_control.settings import Settings
from rate_control.units import SWITCH_IMPLEMENT


def flashed(settings: Settings, zones: bytes = b"", plan: bytes = b"",
            pressure: bytes = b"") -> MemoryFiles:
    """The memory of a board whose settings have been taken on and kept, with its other files."""
    files = MemoryFiles()
    for name, data in ((ZONES_FILE, zones), (PLAN_FILE, plan), (PRESSURE_FILE, pressure)):
        if data:
            files.write(name, data)
    store = Store(files)
    store.attach(Controller(settings))  # at rest, so the store may write
    problem = store.save_settings(settings.as_dict())
    assert not problem, problem
    return files


def opening_contacts(settings: Settings) -> int:
    """The hand switches of a machine that is wired as its settings say, see Fittings."""
    return SWITCH_IMPLEMENT if settings.implement_open_is_down else 0

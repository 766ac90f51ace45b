"""Debian's chromium, driven by Playwright: for tests of the page and for its pictures."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from host_sim.common.errors import InputError

if TYPE_CHECKING:
    from playwright.sync_api import Browser

NAMES = ("chromium", "chromium-browser")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]
NO_PLAYWRIGHT = "this needs the package playwright: pip install playwright"
NONE = "there is no chromium; on Debian: apt-get install chromium"


def find_chromium() -> str:
    """Where chromium is. Raises InputError where there is none."""
    for name in NAMES:
        if path := shutil.which(name):
            return path
    raise InputError(NONE)


@contextmanager
def chromium(*flags: str) -> Iterator[Browser]:
    """A browser while the block runs. Raises InputError where there is none."""
    path = find_chromium()
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        raise InputError(NO_PLAYWRIGHT) from None

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*FLAGS, *flags])
        try:
            yield browser
        finally:
            browser.close()

"""What several folders of tests use."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.installed import install


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the installed package and its command."""
    return install(tmp_path_factory.mktemp("checkout"), tmp_path_factory.mktemp("site"))

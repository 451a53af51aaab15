"""For all tests: settings, logs and unfinished work of linktool go into a folder of the test run's own."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True, scope="session")
def own_linktool_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests that need a folder of their own set LINKTOOL_FOLDER again."""
    before = os.environ.get("LINKTOOL_FOLDER")
    os.environ["LINKTOOL_FOLDER"] = str(tmp_path_factory.mktemp("linktool"))
    yield
    if before is None:
        del os.environ["LINKTOOL_FOLDER"]
    else:
        os.environ["LINKTOOL_FOLDER"] = before

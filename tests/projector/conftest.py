"""What the tests of the projector share: the Millrace job under it, and a browser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.projector.browsers import chromium, millrace

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

    from devices.projector.desk.beam_work import BeamWork


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as one:
        yield one


@pytest.fixture
def work(tmp_path: Path) -> BeamWork:
    return millrace(tmp_path)

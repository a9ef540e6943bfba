"""One Chromium, and one bench over a folder in which each test makes a job of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import bench
from tests.projector.browsers import chromium

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

    from tests.bench.benches import Bench


@pytest.fixture(scope="package")
def chrome() -> Iterator[Browser]:
    with chromium() as one:
        yield one


@pytest.fixture
def browser(chrome: Browser) -> Iterator[Browser]:
    """The browser, which has no page of an earlier test open."""
    yield chrome
    for context in chrome.contexts:
        context.close()


@pytest.fixture(scope="package")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A bench that is shared; nothing in it is ended or killed."""
    with bench(tmp_path_factory.mktemp("jobs")) as one:
        yield one

"""What is said of a change that a job cannot take, or that could not be tried."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from devices.bench.house import BenchHouse
from devices.bench.server import application
from marking.errors import BadInputError
from tests.bench.benches import awaited, small_job, unwatched

if TYPE_CHECKING:
    from collections.abc import MutableMapping
    from pathlib import Path


def test_each_fault_of_a_refused_change_is_said_with_the_label_of_its_field(tmp_path: Path) -> None:
    wrong = '[grid]\npitch = "0 in"\nend_margin = "2"\n[hems]\nfolds = ["x", "y 3 in"]\nfold = 1\n'
    job = unwatched(small_job(tmp_path / "a", wrong))
    with pytest.raises(BadInputError) as refused:
        job.act({"do": "set", "name": "grid.margin", "value": "2 in"})
    fold = 'a fold is "single" or "double" and a depth: "double 1 1/2 in"'
    assert set(refused.value.messages) == {
        'Line to line: "0 in": a length here must be more than zero',
        'Zero end to the zero line: "2": no unit; write "2 in" or "2 mm"',
        f'Hems that are folded here: "x": {fold}\n"y 3 in": {fold}',
        'hems.fold: unknown key; did you mean "folds"?',
    }
    # Beside a field its label is not said again.
    assert job.now.faults["grid.pitch"] == '"0 in": a length here must be more than zero'


def _tried(house: BenchHouse, body: bytes) -> int:
    """The status that the page is answered with where it tries a change."""
    headers = {"host": "bench:1", "origin": "http://bench:1", "cookie": "canvasrule-bench-1=key"}
    scope = {
        "type": "http", "http_version": "1.1", "method": "POST", "scheme": "http", "path": "/try",
        "raw_path": b"/try", "query_string": b"", "root_path": "", "server": ("bench", 1),
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip
    said: list[MutableMapping[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        said.append(message)

    awaited(application(house, ["bench:1"])(scope, receive, send))
    status: int = said[0]["status"]
    return status


def test_a_fault_of_the_program_s_own_is_not_told_as_what_a_page_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    house = BenchHouse(tmp_path, "key", unwatched(small_job(tmp_path / "a")))
    for wrong in (b"{", b"[]", b"3", b"[" * 990):
        assert _tried(house, wrong) == 400
    good = b'{"name": "grid.pitch", "value": "2 in"}'
    assert _tried(house, good) == 200
    # Starlette answers 500, and hands it on to be told.
    monkeypatch.setattr("devices.bench.open_job.proposal", lambda *_: None)
    with pytest.raises(AttributeError):
        _tried(house, good)

"""What is said of a change that a job cannot take, where several of its fields are wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from marking.errors import BadInputError
from tests.bench.benches import small_job, unwatched

if TYPE_CHECKING:
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

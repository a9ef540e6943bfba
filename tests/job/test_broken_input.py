"""A short score of `bench_broken_input.py`: no traceback, no hunger and no waiting on broken input.

Memory is not judged here, where other tests have taken it before.
"""

from __future__ import annotations

import pytest

from tests.benchmarks import broken_input as bench_broken_input


@pytest.mark.parametrize("kind", ["job", "profile", "readings", "measured", "record"])
def test_broken_input_of_every_kind_gets_a_plain_answer(
    monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(bench_broken_input, "MEMORY", 1 << 50)
    score = bench_broken_input.search(100, 7, [kind])
    assert score.failures == []
    assert sum(score.answers.values()) == 100
    assert score.answers[f"{kind} done"] > 0
    assert score.answers[f"{kind} refused"] + score.answers[f"{kind} damaged"] > 40

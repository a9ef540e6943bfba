"""How long a page may be silent, as the environment may say it."""

from __future__ import annotations

import pytest

from devices.bench.lost_after import LOST_AFTER, quiet_after
from marking.errors import BadInputError


@pytest.mark.parametrize("given", ["soon", "", "nan", "inf", "-1", "0", "61"])
def test_what_is_no_time_is_named_with_what_would_do(
    given: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(LOST_AFTER, given)
    with pytest.raises(BadInputError, match=f"{LOST_AFTER}={given}: give seconds"):
        quiet_after()


def test_a_slow_computer_may_be_given_longer_and_a_second_is_not_passed_by_itself(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(LOST_AFTER, raising=False)
    assert quiet_after() < 1.0
    monkeypatch.setenv(LOST_AFTER, "8")
    assert quiet_after() == 8.0

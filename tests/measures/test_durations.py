"""Times as a person writes them."""

from __future__ import annotations

import pytest

from marking.measures.durations import format_duration, format_hours, parse_duration


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("30 s", 30.0), ("4.5 min", 270.0), ("1 h 30 min", 5400.0), ("0 s", 0.0), (" 2min ", 120.0)],
)
def test_a_time_is_read_with_its_unit(text, seconds):
    assert parse_duration(text) == seconds


@pytest.mark.parametrize(
    "text", ["30", 30, "", "s", "1 day", "-3 s", "30 s later", "1001 h", "9" * 5000 + " s", "1e3 s"]
)
def test_anything_else_is_told_how_a_time_is_written(text):
    with pytest.raises(ValueError, match="unit"):
        parse_duration(text)


def test_a_time_is_told_as_one_says_it_and_hours_never_less_than_they_take():
    assert [format_duration(s) for s in (30, 270, 5400, 7300)] == [
        "30 s",
        "4 min",
        "90 min",
        "2.1 h",
    ]
    assert format_hours(6 * 3600) == "6.0"
    assert format_hours(6 * 3600 + 1) == "6.1"

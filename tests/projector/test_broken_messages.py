"""Broken messages to the pages: a short score of what the bench of broken input throws."""

from __future__ import annotations

from tests.projector.broken_messages import broken_messages


def test_broken_messages_leave_no_traceback_and_are_answered_soon():
    report = broken_messages(400, 5)
    assert report.said == ""
    assert report.unanswered == []
    assert report.alive
    assert report.memory_mb < 300
    # Two seconds; more is told by the bench, where the machine has nothing else to do.
    assert report.sent == 400

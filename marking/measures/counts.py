"""How counts read: one section, two sections. It knows words and nothing that is counted."""

from __future__ import annotations


def counted(count: int, what: str) -> str:
    """`count` of `what`, whose plural ends in s: "1 section", "0 sections", "12 sections"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"

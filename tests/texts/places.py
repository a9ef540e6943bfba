"""What of a text has to be in its translation too."""

from __future__ import annotations

import re
from collections import Counter

_KEPT = re.compile(r"\{\{|\}\}|\{\w*\}|--[a-z][a-z-]+|\b[a-z_]+\.toml\b|\bjob\.db\b")


def lost(msgid: str, msgstr: str) -> str:
    """What places, options and files a translation lacks or has too often; "" where none."""
    here, there = Counter(_KEPT.findall(msgid)), Counter(_KEPT.findall(msgstr))
    return ", ".join(sorted((here - there) + (there - here)))

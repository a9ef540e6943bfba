"""Keys by name, one a line on the input, for a program that drives in a person's place.

Asked for by `CANVASRULE_KEYS=lines` in the environment. What a person would be told then goes out
as one JSON object a line, what is typed comes in as a line that begins with `TYPED`. It must not
know what a key is for.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
from functools import cache

from marking.errors import BadInputError

ASKED_BY = "CANVASRULE_KEYS"
TYPED = "="
LONGEST = 32
"""Characters of a line, its end among them."""


def is_piped() -> bool:
    """Whether keys come as lines."""
    return os.environ.get(ASKED_BY) == "lines"


def piped_key() -> str | None:
    """The next key, by name; None when there is none. Raises BadInputError at the input's end."""
    keys = _keys()
    try:
        key = keys.get_nowait()
    except queue.Empty:
        return None
    if key is None:
        # The next who asks has to hear it too.
        keys.put(None)
        raise BadInputError("nobody answers: the input has ended; nothing more was sent")
    return key


@cache
def _keys() -> queue.Queue[str | None]:
    """The keys as they come. A thread reads them, since no system waits for a pipe as another."""
    keys: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        while line := sys.stdin.readline(LONGEST):
            keys.put(line.strip())
        keys.put(None)

    threading.Thread(target=read, daemon=True).start()
    return keys

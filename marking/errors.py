"""What can go wrong, as a colleague would say it: what, where, what would do."""

MOST_SHOWN = 20
"""Faults told at once: who mends those sees the next ones."""
_LONGEST_SHOWN = 60


class CanvasruleError(Exception):
    """A fault worth a plain message; `exit_code` is what the command ends with.

    Of more than `MOST_SHOWN` messages the first are kept, and how many more there are.
    """

    exit_code = 1

    def __init__(self, *messages: str) -> None:
        if len(messages) > MOST_SHOWN + 1:
            more = f"and {len(messages) - MOST_SHOWN} more; mend these first"
            messages = (*messages[:MOST_SHOWN], more)
        super().__init__("\n".join(messages))
        self.messages = messages


def shortened(written: str) -> str:
    """What a person wrote, as far as a message shows it: on one line, and not without end."""
    plain = "".join(c if c.isprintable() else "?" for c in written[: _LONGEST_SHOWN + 1])
    return plain if len(plain) <= _LONGEST_SHOWN else f"{plain[:_LONGEST_SHOWN]}…"


class RefusedError(CanvasruleError):
    """The job is well formed and cannot be done as asked."""

    exit_code = 1


class BadInputError(CanvasruleError):
    """Something given is malformed: a file, a key, a value, a folder."""

    exit_code = 2

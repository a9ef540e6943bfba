"""What can go wrong, as a colleague would say it: what, where, what would do."""


class CanvasruleError(Exception):
    """A fault worth a plain message; `exit_code` is what the command ends with."""

    exit_code = 1

    def __init__(self, *messages: str) -> None:
        super().__init__("\n".join(messages))
        self.messages = messages


class RefusedError(CanvasruleError):
    """The job is well formed and cannot be done as asked."""

    exit_code = 1


class BadInputError(CanvasruleError):
    """Something given is malformed: a file, a key, a value, a folder."""

    exit_code = 2

"""What a person asks of tape marks, and the marks chosen for it. It knows no device."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.errors import BadInputError
from marking.tape_marks.choice import BELOW, MarksChoice, least_work, remedies, widest, work

if TYPE_CHECKING:
    from collections.abc import Callable

    from marking.tape_marks.choice import AtNodes, ChosenMarks, Task
    from marking.tape_marks.readings_asked import Ties

TIES_BELOW: dict[str, Ties] = {word: ties for ties, word in BELOW.items()}
"""What `--tie-below` can be, and what it asks for."""


class MarksWanted(Struct, frozen=True):
    """What is asked for; None for what is left open."""

    spacing: float | None = None
    """mm from one mark of a row to the next, at most."""
    join_rows: int | None = None
    nodes: AtNodes | None = None
    tie_below: str | None = None
    """Of `TIES_BELOW`."""
    read_twice: bool = False


def chosen(
    wanted: MarksWanted, task: Task, told: Callable[[str], None]
) -> tuple[ChosenMarks, tuple[ChosenMarks, ...]]:
    """What is asked for; of what is left open, the least work whose forecast holds, or the best.

    With what else was tried. `told` is called before each forecast. Raises BadInputError for what
    cannot be asked together.
    """
    rows_asked_for = wanted.spacing is not None or wanted.join_rows is not None
    if rows_asked_for and (wanted.nodes is not None or wanted.tie_below):
        raise BadInputError(
            "--nodes and --tie-below are for marks where sections meet, --spacing and --join-rows "
            "for marks in rows: give one or the other"
        )
    if wanted.tie_below and wanted.nodes is None:
        raise BadInputError("--tie-below: give --nodes all or --nodes half with it")
    if wanted.nodes is not None and (wanted.nodes == "ends") != (task.fence is not None):
        raise BadInputError(
            f"--nodes {wanted.nodes}: with a [fence] in job.toml marks stand at the ends of its "
            "rows, without one at all or half of the places: give --nodes "
            f"{'all or half' if task.fence is None else 'ends'}"
        )
    repeats = 2 if wanted.read_twice else 1

    def trying(way: MarksChoice) -> None:
        told(f"forecast with {way.flags(task.units)}")

    if wanted.nodes is not None:
        ties: Ties = TIES_BELOW[wanted.tie_below] if wanted.tie_below else "beside"
        way = MarksChoice(None, 0, repeats, wanted.nodes, ties)
    elif not rows_asked_for:
        return least_work(task, repeats, trying)
    elif wanted.spacing is None:
        assert wanted.join_rows is not None
        return widest(task, wanted.join_rows, repeats, trying), ()
    else:
        way = MarksChoice(wanted.spacing, wanted.join_rows or 0, repeats)
    trying(way)
    return work(task, way), ()


def instead(
    done: ChosenMarks, tried: tuple[ChosenMarks, ...], task: Task, told: Callable[[str], None]
) -> tuple[ChosenMarks, ...]:
    """What may be asked for where the forecast of `done` does not hold: of `tried`, or remedies."""
    if done.forecast.holds:
        return ()
    if tried:
        return tried
    told("the forecast does not hold; trying remedies")
    return remedies(task, done.way)

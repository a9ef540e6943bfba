"""What a person measured on a cover, read from a file and held against what its sheet asks for.

It knows a sheet's ids and what each may read, and says nothing of the cover. Millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import BadInputError
from marking.input.rows import Columns, read_rows
from marking.measures.lengths import format_length
from marking.proof.verniers import JoinStep

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path

    from marking.measures.lengths import Units
    from marking.proof.geometry import DistanceSheet
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinVernier

_COLUMNS = Columns("measured", ("id",), ("length",), pairs=True)
_SLIP, _STRETCHED = 12.0, 0.003
"""mm, and a share of the length: further off than both, the wrong line was measured to."""
_HAIR = 1e-9
_FEW = 4
"""So many distances that cannot be are no slips of the tape."""


def read_measured(
    path: Path, sheet: DistanceSheet, units: Units, confirmed: Collection[str] = ()
) -> dict[str, float]:
    """What the tape showed, in mm by id, from a TOML or CSV file with `id` and `length`.

    TOML may also be one table `[measured]` with a line for each id. Raises BadInputError with a
    message for each fault: unknown ids, ids given twice, lengths that are no reading of theirs
    and are not among the `confirmed`; one message where the file is for another sheet.
    """
    known: dict[str, Distance | JoinStep] = {one.id: one for one in sheet.distances}
    known |= {step.id: step for step in sheet.steps}
    shown: dict[str, float] = {}
    faults = []
    rows = read_rows(path, _COLUMNS)
    strangers = [
        row
        for row in rows
        if row.text["id"] not in known
        or _not_of(known[row.text["id"]], row.lengths["length"], row.where, units)
    ]
    if len(strangers) >= _FEW and len(strangers) > len(rows) / 3:
        first = strangers[0]
        raise BadInputError(
            f"{path}: {len(strangers)} of its {len(rows)} figures are not near what the last proof "
            f"sheet asks for under their names (the first at {first.where}: {first.text['id']}). "
            "It is for another sheet, or in another unit: measure the sheet that was written "
            "last, or write that sheet again, with the --distances and --slack it had"
        )
    for row in rows:
        name, length = row.text["id"], row.lengths["length"]
        if name not in known:
            faults.append(f"{row.where}: {name}: not on the sheet; it has {_range(sheet)}")
        elif name in shown:
            faults.append(f"{row.where}: {name}: measured twice; keep the one you trust")
        else:
            if name not in confirmed:
                faults += _not_of(known[name], length, row.where, units)
            shown[name] = length
    if faults:
        raise BadInputError(*faults)
    return shown


def read_steps(path: Path, verniers: Sequence[JoinVernier]) -> dict[str, float]:
    """What verniers showed, in mm by id, from a file as `read_measured` takes; ids of distances
    are left alone. Raises BadInputError with a message for each fault."""
    known = {one.id: one for one in verniers}
    shown: dict[str, float] = {}
    faults = []
    for row in read_rows(path, _COLUMNS):
        name, length = row.text["id"], row.lengths["length"]
        if name in shown:
            faults.append(f"{row.where}: {name}: read twice; keep the one you trust")
        elif name in known:
            faults += _not_told(known[name], length, row.where)
            shown[name] = length
        elif name.startswith("v"):
            faults.append(f"{row.where}: {name}: no vernier of this job; it has {_ids(verniers)}")
    if not faults and not shown:
        faults.append(f"{path}: no vernier in it; this job has {_ids(verniers)}")
    if faults:
        raise BadInputError(*faults)
    return shown


def _ids(verniers: Sequence[JoinVernier]) -> str:
    return f"{verniers[0].id} to {verniers[-1].id}" if verniers else "none"


def _range(sheet: DistanceSheet) -> str:
    verniers = f", and {sheet.steps[0].id} to {sheet.steps[-1].id}" if sheet.steps else ""
    return f"{sheet.distances[0].id} to {sheet.distances[-1].id}{verniers}"


def _not_of(asked: Distance | JoinStep, length: float, where: str, units: Units) -> list[str]:
    if isinstance(asked, JoinStep):
        further = f", and --confirmed {asked.id} says so"
        return _not_told(asked, length, where, further)
    off = length - asked.nominal
    if abs(off) <= _SLIP + _STRETCHED * asked.nominal:
        return []
    return [
        f"{where}: {asked.id} = {format_length(length, units)}: {' to '.join(asked.between)} "
        f"should be near {format_length(asked.nominal, units)}. Count the lines and measure "
        f"again; check the unit. If it stands, --confirmed {asked.id} says so"
    ]


def _not_told(
    asked: JoinStep | JoinVernier, length: float, where: str, more: str = ""
) -> list[str]:
    if abs(length) <= asked.most + _HAIR:
        return []
    return [
        f"{where}: {asked.id} = {length:g} mm: its vernier tells up to {asked.most:g} mm. Look "
        "which lines meet, counted from the long ones in the middle; where the two long ones lie "
        f"further apart, measure that with a rule{more}"
    ]

"""What the tape showed on the scrap, solved, and kept as the plotter's correction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from devices.begun import layout_of
from devices.history import device_name, has_record, kept_check
from devices.machine_zones import divided
from devices.plotter.correction import check_record, correction_said, solve_square, suspicion
from devices.trial.sheet import scrap_sheet
from devices.trial.verniers import read_verniers
from marking.errors import BadInputError, RefusedError
from marking.input.rows import Columns, read_rows
from marking.job.keys import tape_of
from marking.layout.layout import lay_out
from marking.record.record import layout_hash, open_record

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction, DeviceCheck


class KeptTrial(Struct, frozen=True):
    """A check that is kept from now on, the one before it, and what that makes of the cover."""

    check: DeviceCheck
    before: DeviceCheck | None
    sections: tuple[int, int]
    """How many the cover takes: by the correction before, and by the new one."""

    @property
    def draws_otherwise(self) -> bool:
        """Whether what was written before is drawn otherwise now."""
        return self.check.applied != _applied(self.before)


def solved(job: Job, path: Path) -> DeviceCheck:
    """What a file of measurements says of the plotter. Raises BadInputError, RefusedError."""
    own = job.plotter.model_copy(update={"axes": ("+x", "+y")})
    sheet = scrap_sheet(own, job.pens, job.units)
    shown = _measured(path)
    verniers = read_verniers(shown, sheet)
    runs = {name: length for name, length in shown.items() if name not in verniers}
    check = solve_square(runs, sheet.side, tape_of(job.tape), job.units)
    return replace(check, verniers=verniers)


def correction_to_judge(folder: Path, job: Job) -> DeviceCheck:
    """The check whose correction a corrected sheet was drawn with. Raises RefusedError."""
    kept = kept_check(folder, job)
    if kept is None or kept.applied is None:
        raise RefusedError(
            f"{folder}: no correction is kept for this plotter, so no sheet was drawn with "
            "one; measure out/trial.hpgl without --corrected"
        )
    return kept


def keep(
    folder: Path, job: Job, check: DeviceCheck, *, in_place: bool, likely: bool, despite_ink: bool
) -> KeptTrial:
    """Keeps a check for the job's plotter.

    Raises RefusedError, with nothing kept: where sections are inked, unless `despite_ink`; where a
    correction is kept already, unless this takes its place; where it is not likely, unless a
    person says that it is.
    """
    before = kept_check(folder, job)
    if not despite_ink:
        _check_no_ink(folder)
    _check_meant(folder, check, before, in_place=in_place, likely=likely)
    layout = lay_out(job)
    least, now = (
        len(divided("plotter", layout, job, one).sections)
        for one in (_applied(before), check.applied)
    )
    named, device = layout_hash(layout_of(folder, job)), device_name(job.plotter)
    with open_record(folder) as record:
        record.add_check(named, "device", device, check_record(check))
    return KeptTrial(check, before, (least, now))


def _applied(check: DeviceCheck | None) -> Correction | None:
    return check.applied if check is not None else None


def _measured(path: Path) -> dict[str, float]:
    shown: dict[str, float] = {}
    for row in read_rows(path, Columns("measured", ("run",), ("length",), pairs=True)):
        run = row.text["run"].upper()
        if run in shown:
            raise BadInputError(f"{row.where}: {run}: measured twice; keep the one you trust")
        shown[run] = row.lengths["length"]
    return shown


def _check_no_ink(folder: Path) -> None:
    if not has_record(folder):
        return
    with open_record(folder) as record:
        inked = list(dict.fromkeys(ink.section for ink in record.ink()))
    if inked:
        raise RefusedError(
            f"{folder}: {len(inked)} section{'s are' if len(inked) > 1 else ' is'} inked "
            "already as the plotter was; a new correction may cut the others otherwise. Nothing "
            "was kept. --corrected only shows how it draws now; --despite-ink keeps it all the same"
        )


def _check_meant(
    folder: Path, check: DeviceCheck, before: DeviceCheck | None, *, in_place: bool, likely: bool
) -> None:
    if before is not None and before.applied is not None and not in_place:
        if check.measured == before.measured:
            return
        raise RefusedError(
            f"{folder}: a correction is kept already ({correction_said(before.applied)}). Say "
            "which sheet was measured: --corrected if it is out/trial-corrected, drawn with "
            "that correction (nothing is kept); --replace if it is out/trial, drawn without: "
            "then these figures take the place of the kept ones. Nothing was kept"
        )
    unlikely = suspicion(check)
    if unlikely is not None and not likely:
        raise RefusedError(f"{unlikely}. Nothing was kept; --confirmed keeps it all the same")

"""The programs of one section, for where its device was found to stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.output.programs import REMOVABLE, VERNIERS, pen_note, program_files
from marking.output.files import replace_file

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.placement.placement import Placement


def write_placed(
    folder: Path,
    job: Job,
    placed: Placement,
    correction: Correction | None,
    verniers: Mapping[str, bytes],
    *,
    may_be_inked: bool,
) -> tuple[list[Path], str | None]:
    """Writes the section into `folder`, once what an earlier placement wrote there is gone.

    With what to know of its files, if anything. Nothing is written that may not be inked; its
    halves of `verniers` are where the section fits.
    """
    for part in ("", REMOVABLE, VERNIERS):
        for old in folder.glob(f"{placed.section.id}{part}.*"):
            old.unlink()
    files = program_files(placed.recut, job, correction) if may_be_inked else {}
    written = {name: data for name, (data, _) in files.items()}
    if may_be_inked or placed.verdict == "add a mark":
        written |= verniers
    for name, data in written.items():
        replace_file(folder / name, data)
    return [folder / name for name in written], pen_note(files, job.pens)

"""The light of sections that are trued up, as files for a projector that shows them by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import work_of
from devices.projector.desk.memory import remembered
from devices.projector.light.files import Look, sheet_png, sheet_svg
from marking.errors import RefusedError
from marking.record.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job


def light_files(job: Job, job_folder: Path) -> tuple[dict[str, bytes], list[str]]:
    """The overlay of every section that is trued up, and what to tell the person of them.

    Raises RefusedError when none is.
    """
    work = work_of(job_folder, job)
    with open_record(job_folder) as record:
        desk = remembered(record, work)
    known = [section for section in work.plan.sections if section.id in desk.trued]
    if not known:
        raise RefusedError(
            f'{job_folder}: no section is trued up yet; run "canvasrule beam --job {job_folder}" '
            "and true one up, then its light can be written"
        )
    look = Look(desk.colour, desk.width_px, desk.outlines)
    contents: dict[str, bytes] = {}
    notes: list[str] = []
    for section in known:
        mapping = desk.trued[section.id].mapping
        light = work.light(section.id, mapping)
        title = f"{job.title}: the light of section {section.id}"
        numeral_px = job.pens.numerals.width * light.pixels_per_mm
        contents[f"overlay/{section.id}.svg"] = sheet_svg(light, look, numeral_px, title)
        contents[f"overlay/{section.id}.png"] = sheet_png(light, look, numeral_px)
        if light.unlit > 1:
            notes.append(
                f"{section.id}: {light.unlit / 1000:.2f} m of its lines fall outside the "
                "picture and are not lit; move the projector and true up again"
            )
    return contents, notes

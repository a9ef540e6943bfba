"""A rehearsal: simulated cloth and a record of its own, made anew from a copy of the job's.

What is known of the real cover counts (ink, tape marks, the plotter's correction); nothing
that is rehearsed gets into the job's record. It knows files, the simulated machine and the
record, and not how a section is inked.
"""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from devices.plotter.bed import bed_of
from devices.simulated.cloth import Cloth, Ink, cloth_artwork, read_cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.job.folder import RECORD_FILE
from marking.output.files import replace_file
from marking.record.record import open_record

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.record.record import Record
    from marking.sections.plan import Section

FOLDER = Path("out") / "rehearsal"
"""Below the job's folder: the record of the last rehearsal."""
CLOTH = Path("out") / "cloth"
"""Below the job's folder: the ink of each section of the last rehearsal."""


@contextmanager
def rehearsal_record(folder: Path) -> Iterator[Record]:
    """A record that begins with what the job in `folder` has in its own; no ink on the cloth."""
    for old in (folder / FOLDER, folder / CLOTH):
        if old.exists():
            shutil.rmtree(old)
        old.mkdir(parents=True)
    if (folder / RECORD_FILE).exists():
        with open_record(folder) as record:
            record.copy_to(folder / FOLDER)
    with open_record(folder / FOLDER) as record:
        yield record


@contextmanager
def rehearsal_port(
    folder: Path, plotter: Plotter, section: Section, correction: Correction | None, pace: float
) -> Iterator[OnboardPort]:
    """The simulated plotter set down for one section, its time running `pace` times faster."""
    bed = bed_of(section, plotter, correction)
    with (folder / CLOTH / f"{section.id}.ink").open("ab") as file:
        yield OnboardPort(simulated(plotter, bed, Cloth(file)), pace)


def picture(
    folder: Path, job: Job, sections: Iterable[Section], correction: Correction | None
) -> Path:
    """Pictures the cloth as it lies on the table, every section's ink where it was drawn."""
    from marking.drawing.png import LONGEST, png
    from marking.drawing.svg import svg

    ink = []
    for section in {section.id: section for section in sections}.values():
        path = folder / CLOTH / f"{section.id}.ink"
        if not path.exists():
            continue
        bed = bed_of(section, job.plotter, correction)
        for line in read_cloth(path):
            points = bed.table_of(line.path).tolist()
            ink.append(Ink(line.pen, tuple((float(x), float(y)) for x, y in points)))
    cloth = cloth_artwork(ink, (job.table.length, job.table.width), (0.0, 0.0))
    replace_file(folder / "out" / "cloth.svg", svg(cloth))
    replace_file(folder / "out" / "cloth.png", png(cloth, LONGEST))
    return folder / "out" / "cloth.png"

"""Every file that a person asks for of a job, written as one set, and what is told of it.

It brings layout and division together with what is drawn of them; each file's bytes come from its
own module.
"""

from __future__ import annotations

from collections import Counter
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from devices.begun import guard_sections, layout_of, plan_of, warned_of
from devices.history import in_force, inked_anew, kept_correction
from devices.output.programs import REMOVABLE, VERNIERS, pen_note, program_files, vernier_files
from marking.errors import BadInputError
from marking.measures.counts import counted
from marking.output.files import digest, write_set

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout
    from marking.output.files import WrittenSet
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName

KINDS = ("svg", "hpgl", "picture", "report")
"""What is written where no kind is asked for."""
LIGHT = "overlay"
"""The kind that only trued-up sections have, and the folder of its files."""
_MACHINE = {"plotter": "plotter", "beam": "projector", "reach": "reach"}
"""The table of job.toml that each zone's sections come from."""


class FilesWanted(Struct, frozen=True):
    """What a person asks to have written."""

    zone: ZoneName
    kinds: Sequence[str]
    """Of `KINDS` and `LIGHT`; all of `KINDS` where there are none."""
    folder: Path
    verniers: bool = False
    despite_ink: bool = False


class JobFiles(Struct, frozen=True):
    """A set of files as it was written."""

    folder: Path
    done: WrittenSet
    origins: Mapping[str, Sequence[float]]
    """By path of a program: the table point at the device's origin."""
    notes: tuple[str, ...]
    """What to tell the person beside it."""

    @property
    def record(self) -> dict[str, Any]:
        """As `write --json` prints it."""
        return {
            "schema": 1,
            "files": [
                {
                    "path": file.path,
                    "section": _section_of(file.path),
                    "origin": self.origins.get(file.path),
                    "bytes": file.bytes,
                    "sha256": file.sha256,
                }
                for file in self.done.written
            ],
            "removed": list(self.done.removed),
        }

    @property
    def lines(self) -> Iterator[str]:
        """How many files went where: single ones by name, sections by kind."""
        paths = [file.path for file in self.done.written]
        yield f"{counted(len(paths), 'file')} written to {self.folder}:"
        yield from (f"  {path}" for path in paths if not _folder(path))
        for below in sorted(set(map(_folder, paths)) - {""}):
            kinds = Counter(path[path.rindex(".") :] for path in paths if _folder(path) == below)
            counts = [f"{count} {kind}" for kind, count in sorted(kinds.items())]
            yield f"  {' and '.join(counts)} in {below}"


def write_wanted(wanted: FilesWanted, job_folder: Path, job: Job) -> JobFiles:
    """Writes what is `wanted` of the job, by what it was begun with.

    Raises BadInputError for what its zone does not have, RefusedError where ink forbids it.
    """
    kinds = _kinds(wanted)
    layout = layout_of(job_folder, job, despite_ink=wanted.despite_ink)
    correction = kept_correction(job_folder, job)
    if "hpgl" in kinds:
        guard_sections(
            job_folder,
            job,
            layout,
            despite_ink=wanted.despite_ink,
            otherwise="writes the new division",
        )
    more: dict[str, bytes] = {}
    notes: list[str] = []
    if LIGHT in kinds:
        from devices.output.light import light_files

        more, notes = light_files(job, job_folder)
    plan = plan_of(job_folder, wanted.zone, job, layout, correction)
    if wanted.verniers:
        verniers, note = vernier_files(wanted.zone, job, layout, plan, correction)
        more, notes = {**more, **verniers}, [*notes, note]
    return write_files(
        job,
        layout,
        plan,
        wanted.folder,
        kinds,
        correction,
        more,
        notes=notes,
        job_folder=job_folder,
    )


def _kinds(wanted: FilesWanted) -> list[str]:
    kinds = list(wanted.kinds) or list(KINDS)
    if wanted.zone != "plotter" and "hpgl" in kinds:
        if wanted.kinds:
            who = "an arm" if wanted.zone == "reach" else "a beam"
            raise BadInputError(
                f"write --hpgl --for {wanted.zone}: {who} reads no HP-GL; leave one out"
            )
        kinds.remove("hpgl")
    if LIGHT in kinds and wanted.zone != "beam":
        raise BadInputError("write --overlay lights the projector's sections: add --for beam")
    return kinds


def write_files(
    job: Job,
    layout: Layout,
    plan: Plan,
    folder: Path,
    kinds: Sequence[str],
    correction: Correction | None = None,
    more: Mapping[str, bytes] = MappingProxyType({}),
    *,
    notes: Sequence[str] = (),
    job_folder: Path | None = None,
) -> JobFiles:
    """Writes the `kinds` of files that this layout and plan make, and `more` beside them.

    The report tells what the record in `job_folder` adds.
    """
    plan = warned_of(plan, job)
    anew = inked_anew(job_folder, layout, plan) if job_folder is not None else {}
    contents, origins = _contents(job, layout, plan, kinds, correction, anew)
    if "report" in kinds:
        from devices.output.drawings import report_files, ruling_files

        kept = in_force(job_folder, job, layout, plan) if job_folder is not None else None
        contents |= report_files(job, layout, plan, kept)
        if plan.ruled:
            from marking.ruling.order import WhoRules

            contents |= ruling_files(job, layout, plan, WhoRules())
    made_from = digest(_source(plan.zone.name, layout, job, correction))
    done = write_set(folder, {**contents, **more}, made_from)
    told = [*notes, *layout.warnings, *plan.warnings]
    pens = pen_note(contents, job.pens)
    told += [] if pens is None else [pens]
    told += [
        f"{folder / name} is from an earlier layout and was changed since; it was left"
        for name in done.left
    ]
    if done.removed and job_folder is not None:
        told.append(_taken_away(done.removed, job_folder))
    return JobFiles(folder, done, origins, tuple(told))


def _contents(
    job: Job,
    layout: Layout,
    plan: Plan,
    kinds: Sequence[str],
    correction: Correction | None,
    anew: Mapping[str, Sequence[FloatArray]],
) -> tuple[dict[str, bytes], dict[str, list[float]]]:
    """Every file by its path, and for programs the table point at the device's origin."""
    contents: dict[str, bytes] = {}
    origins: dict[str, list[float]] = {}
    if "svg" in kinds:
        from devices.output.drawings import marking_svg, section_svg

        contents["marking.svg"] = marking_svg(job, layout, plan)
        for section in plan.sections:
            contents[f"sections/{section.id}.svg"] = section_svg(job, section)
    if "hpgl" in kinds:
        for section in plan.sections:
            for name, (data, bed) in program_files(section, job, correction).items():
                contents[f"sections/{name}"] = data
                origins[f"sections/{name}"] = list(bed.origin_table)
    if "picture" in kinds:
        from marking.drawing.picture_file import picture_file
        from marking.output.table_picture import table_picture

        drawn = table_picture(layout, job, plan, anew)
        contents |= {name: picture_file(drawn, name) for name in ("picture.svg", "picture.png")}
    return contents, origins


def _source(zone: str, layout: Layout, job: Job, correction: Correction | None) -> bytes:
    """All that lines and sections come from: files written from the same are still right.

    A tape and its readings count by the top that they give.
    """
    corners = layout.top.corners_table.tolist()
    other_machines = {"plotter", "projector", "reach"} - {_MACHINE[zone]}
    wanted = job.model_dump_json(exclude={"tolerance", "tape", "paper", *other_machines})
    return f"{zone} {correction} {corners} {wanted}".encode()


def _taken_away(names: Sequence[str], job_folder: Path) -> str:
    sections = [name for name in names if "/" in name]
    shown = [name for name in names if "/" not in name]
    if sections:
        below = ", ".join(sorted(set(map(_folder, sections))))
        shown.append(f"{counted(len(sections), 'file')} in {below}")
    return (
        f"{', '.join(shown)}: taken away, being of an earlier layout or division; "
        f'canvasrule write --job "{job_folder}" writes all kinds anew'
    )


def _section_of(path: str) -> str | None:
    folder, _, name = path.rpartition("/")
    if folder not in ("sections", LIGHT):
        return None
    return name.partition(".")[0].removesuffix(REMOVABLE).removesuffix(VERNIERS)


def _folder(path: str) -> str:
    return path.rpartition("/")[0]

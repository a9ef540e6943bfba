"""`canvasrule write`: the files that a plotter, an editor and a person open."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from devices.begun import guard_sections, layout_of, plan_of, warned_of, work_of
from devices.commands.shared import (
    OUTPUT,
    REMOVABLE,
    add_ink_option,
    add_job_option,
    add_zone_option,
    pen_note,
    print_json,
    print_lines,
    program_files,
    read_job,
    ruling_files,
    say,
    zone_asked_for,
)
from devices.history import in_force, kept_correction
from marking.measures.counts import counted

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.layout.layout import Layout
    from marking.output.report import InForce
    from marking.sections.plan import Plan, Section

KINDS = {
    "svg": "the whole marking and every section, true to size",
    "hpgl": "every section in the language of the job's plotter, HP-GL or G-code",
    "picture": "the whole table with sections and marks, SVG and PNG",
    "report": "fit, sections, ink and time, Markdown and JSON; the sheet for lines to rule",
}
OVERLAY = "the light of every section that is trued up, SVG and PNG, pixel for pixel"
VERNIERS = "-verniers"
_MACHINE = {"plotter": "plotter", "beam": "projector", "reach": "reach"}
"""The table of job.toml that each zone's sections come from."""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_zone_option(verb)
    add_ink_option(verb)
    for kind, summary in KINDS.items():
        verb.add_argument(f"--{kind}", action="store_true", help=summary)
    verb.add_argument("--overlay", action="store_true", help=f"{OVERLAY}; needs --for beam")
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="half a vernier over each join, a file for each section, to be plotted with the "
        "removable pen before the device is moved: their readings prove the joins",
    )
    verb.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help='where to write (default: "out" in the job\'s folder)',
    )
    verb.epilog = (
        "Without a kind, all of them are written.\n\n"
        "example:\n  canvasrule write --job my-bench --svg --hpgl"
    )


def run(options: argparse.Namespace) -> int:
    """Writes the kinds asked for and lists what was written."""
    job = read_job(options.job)
    options.zone = zone_asked_for(options, job)
    kinds = [kind for kind in (*KINDS, "overlay") if getattr(options, kind)] or list(KINDS)
    if options.zone != "plotter" and "hpgl" in kinds:
        if options.hpgl:
            from marking.errors import BadInputError

            who = "an arm" if options.zone == "reach" else "a beam"
            raise BadInputError(
                f"write --hpgl --for {options.zone}: {who} reads no HP-GL; leave one out"
            )
        kinds.remove("hpgl")
    if options.overlay and options.zone != "beam":
        from marking.errors import BadInputError

        raise BadInputError("write --overlay lights the projector's sections: add --for beam")
    folder = options.out or options.job / OUTPUT
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    correction = kept_correction(options.job, job)
    if "hpgl" in kinds:
        guard_sections(
            options.job,
            job,
            layout,
            despite_ink=options.despite_ink,
            otherwise="writes the new cut",
        )
    more = _light_files(job, options.job) if options.overlay else {}
    plan = plan_of(options.job, options.zone, job, layout, correction)
    if options.verniers:
        more = {**more, **_vernier_files(options.zone, job, layout, plan, correction)}
    record = write(job, layout, plan, folder, kinds, correction, more, job_folder=options.job)
    if record["removed"]:
        say(f"note: {_taken_away(record['removed'], options.job)}")
    if options.json:
        print_json(record)
    else:
        print_lines(_summary(folder, [file["path"] for file in record["files"]]))
    return 0


def _vernier_files(
    zone: str, job: Job, layout: Layout, plan: Plan, correction: Correction | None
) -> dict[str, bytes]:
    """Each section's halves of the verniers over its joins, for the removable pen alone."""
    from devices.programs.files import program
    from marking.errors import BadInputError
    from marking.proof.distortion import distortion_of
    from marking.proof.drawn import drawn_alone
    from marking.proof.verniers import vernier_strokes, verniers_over

    if zone != "plotter":
        raise BadInputError(f"write --verniers --for {zone}: verniers are drawn by a plotter")
    verniers = verniers_over(plan, distortion_of(layout, plan), job.pens.removable.width)
    drawn = vernier_strokes(verniers)
    files = {}
    for section in plan.sections:
        strokes = drawn.get(section.id)
        if strokes:
            alone = drawn_alone(section, strokes, job.pens, plan.zone)
            data, _ = program(alone, job.plotter, job.pens, correction)
            files[f"sections/{section.id}{VERNIERS}.{job.plotter.dialect}"] = data
    say(
        f"note: {counted(len(verniers), 'vernier')} over the joins. After a section's own file, "
        f"with the device not moved, put the removable pen in holder {job.pens.removable.slot} and "
        f"plot the section's {VERNIERS} file; canvasrule prove --verniers asks for the readings"
    )
    return files


def _taken_away(names: list[str], job_folder: Path) -> str:
    sections = [name for name in names if "/" in name]
    shown = [name for name in names if "/" not in name]
    if sections:
        below = ", ".join(sorted(set(map(_folder, sections))))
        shown.append(f"{counted(len(sections), 'file')} in {below}")
    return (
        f"{', '.join(shown)}: taken away, being of an earlier layout or division; "
        f'canvasrule write --job "{job_folder}" writes all kinds anew'
    )


def _summary(folder: Path, paths: list[str]) -> Iterator[str]:
    """How many files went where: single ones by name, sections by kind."""
    yield f"{counted(len(paths), 'file')} written to {folder}:"
    yield from (f"  {path}" for path in paths if not _folder(path))
    for below in sorted(set(map(_folder, paths)) - {""}):
        kinds = Counter(path[path.rindex(".") :] for path in paths if _folder(path) == below)
        counts = [f"{count} {kind}" for kind, count in sorted(kinds.items())]
        yield f"  {' and '.join(counts)} in {below}"


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def write(
    job: Job,
    layout: Layout,
    plan: Plan,
    folder: Path,
    kinds: list[str],
    correction: Correction | None = None,
    more: Mapping[str, bytes] = MappingProxyType({}),
    *,
    job_folder: Path | None = None,
) -> dict[str, Any]:
    """Writes, `more` files too; returns what `write --json` prints.

    The report tells what the record in `job_folder` adds.
    """
    from marking.output import files

    plan = warned_of(plan, job)
    contents, origins = _contents(job, layout, plan, kinds, correction)
    if "report" in kinds:
        kept = in_force(job_folder, job, layout, plan) if job_folder is not None else None
        contents = {**contents, **_report_files(job, layout, plan, kept)}
        if plan.ruled:
            from marking.ruling.order import Manner

            contents |= ruling_files(job, layout, plan, Manner())
    made_from = files.digest(_source(plan.zone.name, layout, job, correction))
    done = files.write_set(folder, {**contents, **more}, made_from)
    for warning in (*layout.warnings, *plan.warnings):
        say(f"note: {warning}")
    pens = pen_note(contents, job)
    if pens is not None:
        say(f"note: {pens}")
    for name in done.left:
        say(f"note: {folder / name} is from an earlier layout and was changed since; it was left")
    return {
        "schema": 1,
        "files": [
            {
                "path": file.path,
                "section": _section_of(file.path),
                "origin": origins.get(file.path),
                "bytes": file.bytes,
                "sha256": file.sha256,
            }
            for file in done.written
        ],
        "removed": list(done.removed),
    }


def _source(zone: str, layout: Layout, job: Job, correction: Correction | None) -> bytes:
    """All that lines and sections come from: files written from the same are still right.

    A tape and its readings count by the top that they give.
    """
    corners = layout.top.corners_table.tolist()
    other_machines = {"plotter", "projector", "reach"} - {_MACHINE[zone]}
    wanted = job.model_dump_json(exclude={"tolerance", "tape", *other_machines})
    return f"{zone} {correction} {corners} {wanted}".encode()


def _section_of(path: str) -> str | None:
    folder, _, name = path.rpartition("/")
    if folder not in ("sections", "overlay"):
        return None
    return name.partition(".")[0].removesuffix(REMOVABLE).removesuffix(VERNIERS)


def _light_files(job: Job, job_folder: Path) -> dict[str, bytes]:
    """The overlay of every section that is trued up. Raises RefusedError when none is."""
    from devices.projector.desk.memory import remembered
    from devices.projector.light.files import Look, sheet_png, sheet_svg
    from marking.errors import RefusedError
    from marking.record.record import open_record

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
    for section in known:
        mapping = desk.trued[section.id].mapping
        light = work.light(section.id, mapping)
        title = f"{job.title}: the light of section {section.id}"
        numeral_px = job.pens.numerals.width * light.pixels_per_mm
        contents[f"overlay/{section.id}.svg"] = sheet_svg(light, look, numeral_px, title)
        contents[f"overlay/{section.id}.png"] = sheet_png(light, look, numeral_px)
        if light.unlit > 1:
            say(
                f"note: {section.id}: {light.unlit / 1000:.2f} m of its lines fall outside the "
                "picture and are not lit; move the projector and true up again"
            )
    return contents


def _contents(
    job: Job, layout: Layout, plan: Plan, kinds: list[str], correction: Correction | None
) -> tuple[Mapping[str, bytes], Mapping[str, list[float]]]:
    """Every file by its path, and for HP-GL the table point at the device's origin."""
    contents: dict[str, bytes] = {}
    origins: dict[str, list[float]] = {}
    if "svg" in kinds:
        contents["marking.svg"] = _marking_svg(job, layout, plan)
        for section in plan.sections:
            contents[f"sections/{section.id}.svg"] = _section_svg(job, section)
    if "hpgl" in kinds:
        for section in plan.sections:
            for name, (data, bed) in program_files(section, job, correction).items():
                contents[f"sections/{name}"] = data
                origins[f"sections/{name}"] = list(bed.origin_table)
    if "picture" in kinds:
        from marking.drawing.picture_file import picture_file
        from marking.output.table_picture import table_picture

        drawn = table_picture(layout, job, plan)
        contents |= {name: picture_file(drawn, name) for name in ("picture.svg", "picture.png")}
    return contents, origins


def _report_files(
    job: Job, layout: Layout, plan: Plan, kept: InForce | None
) -> Mapping[str, bytes]:
    from marking.output.report import InForce, markdown, record

    kept = kept or InForce()
    data = json.dumps(record(layout, job, plan, kept), indent=1)
    return {
        "report.md": markdown(layout, job, plan, kept).encode(),
        "report.json": f"{data}\n".encode(),
    }


def _marking_svg(job: Job, layout: Layout, plan: Plan) -> bytes:
    from marking.output.strokes_svg import strokes_svg
    from marking.sections.ruled import inked_strokes

    about = "True to size, the table's near edge at the bottom and its zero end at the left."
    if plan.ruled:
        about += " Layers named ruled are ruled by hand; leave them out of what a device draws."

    corners = layout.top.corners_table
    low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return strokes_svg(
        inked_strokes(layout, plan.ruled),
        job.pens,
        (low[0], low[1], high[0], high[1]),
        f"{job.title}: the whole marking",
        about,
        [line.stroke for line in plan.ruled],
    )


def _section_svg(job: Job, section: Section) -> bytes:
    from marking.output.strokes_svg import strokes_svg

    x, y = section.window[:2]
    return strokes_svg(
        [piece.stroke for piece in section.pieces],
        job.pens,
        section.window,
        f"{job.title}: section {section.id}",
        f"True to size. The lower left corner lies {x:.2f} mm along and {y:.2f} mm across from "
        "the table's zero corner.",
    )

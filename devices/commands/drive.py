"""`canvasrule drive`: inks section after section on the job's plotter, and resumes."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from devices.commands.history import kept_correction
from devices.commands.shared import add_job_option, plan_for, print_json, print_lines, read_job

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator

    from devices.correction import Correction
    from devices.job import Job
    from devices.run import Line
    from marking.sections import Plan, Section

CLOTH = Path("out") / "cloth"
_SCALE = 60.0


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument("--port", metavar="NAME", help="the plotter's port, or a pyserial URL")
    verb.add_argument(
        "--simulate", action="store_true", help="drive a simulated plotter, and picture its cloth"
    )
    verb.add_argument(
        "--pace",
        type=float,
        default=_SCALE,
        metavar="N",
        help=f"the simulated plotter's time runs N times faster (default: {_SCALE:g})",
    )
    verb.add_argument("--section", metavar="ID", help="ink this section only")
    verb.add_argument("--most", type=int, metavar="N", help="stop after N sections")
    verb.add_argument(
        "--readings", type=Path, metavar="FILE", help="readings of marks, TOML or CSV"
    )
    verb.add_argument(
        "--unattended",
        action="store_true",
        help="ask nothing: readings come from --readings, else the device stands as planned",
    )
    verb.add_argument(
        "--moved", action="store_true", help="the device was moved since the section was begun"
    )
    verb.add_argument(
        "--ink-anyway", metavar="REASON", help="ink against the verdict; the reason is recorded"
    )
    verb.add_argument("--outline", action="store_true", help="go round each section pen up first")
    verb.add_argument("--csv", action="store_true", help="print the record as CSV, and end")
    verb.epilog = (
        "While it inks: p pauses after the strokes under way, s stops at once with the pen up.\n"
        "Keep hands, hair, sleeves and cords clear of the moving plotter; know its own stop.\n\n"
        "example:\n  canvasrule drive --job my-bench --simulate --unattended --most 1"
    )


def run(options: argparse.Namespace) -> int:
    """Drives what is not yet done, in order; returns 0 when all asked for is done."""
    from devices.claim import claimed
    from devices.ending import ended_as_by_hand
    from devices.inking import Workplace, ink_section, is_done
    from devices.person import Person
    from marking.errors import BadInputError
    from marking.layout import lay_out
    from marking.readings import read_readings
    from marking.record import open_record

    if options.pace <= 0:
        raise BadInputError("--pace: give how many times faster the simulated plotter works")
    job = read_job(options.job)
    if options.csv:
        from devices.progress import record_csv

        with open_record(options.job) as record:
            print_lines(record_csv(record).splitlines())
        return 0
    layout = lay_out(job)
    correction = kept_correction(options.job, job)
    plan = plan_for("plotter", layout, job, correction)
    sections = _asked_for(plan, options.section)
    readings = read_readings(options.readings) if options.readings else ()
    person = Person(not options.unattended)
    with (
        ended_as_by_hand(),
        claimed(options.job, "drive"),
        open_record(options.job) as record,
    ):
        record.guard_layout(layout)
        place = Workplace(
            job,
            layout,
            plan,
            record,
            person,
            readings,
            options.moved,
            options.ink_anyway,
            options.outline,
            correction,
        )
        todo = [section for section in sections if not is_done(section, place)]
        outcomes: list[dict[str, object]] = []
        for section in todo[: options.most]:
            with _ports(options, job, section) as opened:
                outcome = ink_section(section, place, *opened)
            outcomes.append({"section": section.id, "ended": outcome.ended, "drawn": outcome.drawn})
            if outcome.ended != "done":
                break
        if options.simulate:
            _picture(options.job, job, plan, correction)
    if options.json:
        print_json({"schema": 1, "sections": outcomes})
    else:
        print_lines(
            f"{one['section']}: {one['ended']}, {one['drawn']} strokes drawn" for one in outcomes
        )
        if not todo:
            print_lines(["everything asked for is drawn already"])
    return 0


def _asked_for(plan: Plan, name: str | None) -> list[Section]:
    from marking.errors import BadInputError

    found = [section for section in plan.sections if name in (None, section.id)]
    if not found:
        known = ", ".join(section.id for section in plan.sections[:6])
        raise BadInputError(f"--section {name}: no such section; there are {known}, …")
    return found


@contextmanager
def _ports(
    options: argparse.Namespace, job: Job, section: Section
) -> Iterator[tuple[Line, Callable[[], float]]]:
    """The port for one section and the clock that goes with it."""
    import time

    if options.simulate:
        from devices.bed import bed_at
        from devices.simulated.cloth import Cloth
        from devices.simulated.onboard import OnboardPort, simulated

        folder = options.job / CLOTH
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / f"{section.id}.ink").open("ab") as file:
            peer = simulated(job.plotter, bed_at(job.plotter, section.window), Cloth(file))
            onboard = OnboardPort(peer, options.pace)
            yield onboard, onboard.clock
        return
    from devices.port import chosen, open_port

    port = open_port(chosen(options.port), job.plotter)
    try:
        yield port, time.monotonic
    finally:
        port.close()


def _picture(folder: Path, job: Job, plan: Plan, correction: Correction | None) -> None:
    """The simulated cloth as it lies on the table, every section's ink where it was drawn."""
    from devices.bed import bed_at
    from devices.simulated.cloth import Ink, cloth_svg, read_cloth
    from marking.files import replace_file
    from marking.picture import png

    ink = []
    for section in plan.sections:
        path = folder / CLOTH / f"{section.id}.ink"
        if not path.exists():
            continue
        bed = bed_at(job.plotter, section.window, correction)
        for line in read_cloth(path):
            points = bed.table_of(line.path).tolist()
            ink.append(Ink(line.pen, tuple((float(x), float(y)) for x, y in points)))
    picture = cloth_svg(ink, (job.table.length, job.table.width), (0.0, 0.0))
    replace_file(folder / "out" / "cloth.svg", picture)
    replace_file(folder / "out" / "cloth.png", png(picture))

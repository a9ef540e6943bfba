"""Every way of marking a job's cover, reckoned: by hand, and with each machine that is there.

It brings machines, plans and ways together; it prints nothing and keeps nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from devices.job import Job
from devices.machine_zones import divided
from devices.ways.by_plotter import BY_PLOTTER, FED_THROUGH, PlotterWork, plotter_ways
from devices.ways.by_projector import FROM_LIGHT, projector_ways
from marking.errors import BadInputError, RefusedError
from marking.input.toml import read_toml
from marking.job.folder import JOB_FILE, check_job
from marking.job.keys import paper_of, tape_of
from marking.job.work_keys import FenceTable
from marking.network.allowed import allowed_of
from marking.shipped_files import stock_names
from marking.tape_marks.choice import Task
from marking.ways.by_hand import hand_ways
from marking.ways.cover import cover_of
from marking.ways.reckoning import Reckoning
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import Way, cannot_be_done, ranked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path
    from typing import Literal

    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.ways.cover import Cover

    Kind = Literal["plotter", "projector"]

USUAL_FENCE = FenceTable.model_validate({"length": "8 ft"})
"""What is reckoned with where every machine is tried and the job names no fence."""


@dataclass(frozen=True)
class Machine:
    """A machine that is there, or a stock one, as a job that names it."""

    kind: Kind
    name: str
    job: Job
    own: bool
    """Whether it is the job's own."""


def reckoning(
    folder: Path,
    job: Job,
    layout: Layout,
    own_plan: Callable[[Kind], Plan],
    *,
    every: bool,
) -> Reckoning:
    """Every way of marking `layout`; `own_plan` cuts it for the job's own machine of a kind.

    With `every` each stock machine is tried too. Raises BadInputError when [ways] names a way
    that is none of them.
    """
    cover, tape = cover_of(layout), tape_of(job.tape)
    fence = job.fence or (USUAL_FENCE if every else None)
    ways = [*hand_ways(cover, job.pace, tape_scale_most(tape), paper_of(job))]
    for machine in machines(folder, job, every=every):
        ways += _of_machine(machine, layout, cover, fence, own_plan)
    limits = allowed_of(job)
    found = ranked(tuple(ways), limits, job.pace.first_time)
    chosen = job.ways.way
    if chosen is not None and chosen not in (ids := sorted(one.way.id for one in found)):
        raise BadInputError(
            f'{folder / JOB_FILE}: ways.way = "{chosen}" is no way of marking this cover; '
            f"one of {', '.join(ids)} would do"
        )
    own_times = tuple(sorted(job.pace.model_fields_set))
    return Reckoning(found, limits, cover, fence, chosen, own_times, job.units)


def machines(folder: Path, job: Job, *, every: bool) -> Iterator[Machine]:
    """The machines that are there: as [ways] says, else those that job.toml names; with `every`
    the stock ones too."""
    path = folder / JOB_FILE
    written = read_toml(path, str(path))
    kinds: tuple[Kind, ...] = ("plotter", "projector")
    have = job.ways.have
    for kind in kinds:
        table = written.get(kind)
        name = _named(table, kind, job)
        if kind in have if have is not None else table is not None:
            yield Machine(kind, name, job, own=True)
        else:
            name = ""
        for stock in stock_names(f"{kind}s") if every else ():
            if stock != name:
                other = check_job({**written, kind: {"profile": stock}}, folder, Job)
                yield Machine(kind, stock, other, own=False)


def _named(table: Mapping[str, Any] | None, kind: Kind, job: Job) -> str:
    """A machine's name as the id of a way has it: its profile's, without folder and ending."""
    profile = (table or {}).get("profile")
    if profile is None:
        extra = Job.model_fields[kind].json_schema_extra
        profile = extra["profile"] if isinstance(extra, dict) else kind
    stem = PurePath(str(profile)).stem.lower()
    return "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in stem)[:40]


def _of_machine(
    machine: Machine,
    layout: Layout,
    cover: Cover,
    fence: FenceTable | None,
    own_plan: Callable[[Kind], Plan],
) -> list[Way]:
    job = machine.job
    tape = tape_of(job.tape)
    says = FROM_LIGHT
    if machine.kind == "plotter":
        says = BY_PLOTTER if job.plotter.on_cover else FED_THROUGH
    try:
        if machine.own:
            plan = own_plan(machine.kind)
        else:
            plan = divided("plotter" if machine.kind == "plotter" else "beam", layout, job, None)
        if machine.kind == "projector":
            return [*projector_ways(machine.name, job, plan, cover, tape)]
    except RefusedError as fault:
        return [cannot_be_done(machine.name, says, machine.name, str(fault))]
    task = Task(layout, plan, tape, job.units, allowed_of(job))
    return [*plotter_ways(PlotterWork(machine.name, job, task, cover), fence)]

"""Every way of marking a job's cover, reckoned: by hand, and with each machine that is there.

It brings machines, plans and ways together; it prints nothing and keeps nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

from devices.job import Job
from devices.machine_zones import divided
from devices.ways.by_plotter import BY_PLOTTER, FED_THROUGH, PlotterWork, plotter_ways
from devices.ways.by_projector import FROM_LIGHT, projector_ways
from devices.ways.chosen import FULL_SIZE, HAND_WAYS, KINDS, chosen_way, machine_name, ways_of
from marking.errors import BadInputError, RefusedError
from marking.input.toml import read_toml
from marking.job.folder import JOB_FILE, check_job
from marking.job.keys import paper_of, tape_of
from marking.job.work_keys import FenceTable
from marking.network.allowed_errors import allowed_of
from marking.shipped_files import stock_names
from marking.tape_marks.choice import Task
from marking.ways.by_hand import hand_ways
from marking.ways.ink_counted import cover_of
from marking.ways.reckoning import Reckoning
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import cannot_be_done, ranked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

    from devices.ways.chosen import MachineKind
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.ways.ink_counted import InkCount
    from marking.ways.way import CrossLines, Way

USUAL_FENCE = FenceTable.model_validate({"length": "8 ft"})
"""What is reckoned with where every machine is tried and the job names no fence."""


class MachineAtHand(Struct, frozen=True):
    """A machine that is there, or a stock one, as a job that names it."""

    kind: MachineKind
    name: str
    job: Job
    own: bool
    """Whether it is the job's own."""


def reckoning(
    folder: Path,
    job: Job,
    layout: Layout,
    own_plan: Callable[[MachineKind, Job], Plan],
    *,
    every: bool,
) -> Reckoning:
    """Every way of marking `layout`; `own_plan` cuts it for the machine of a kind that is there.

    `job` is as job.toml has it, whatever way it chooses. With `every` each stock machine is tried
    too. Raises BadInputError when [ways] names a way that is none of them.
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


def machines(folder: Path, job: Job, *, every: bool) -> Iterator[MachineAtHand]:
    """The machines that are there: as [ways] says, else those that job.toml names; with `every`
    the stock ones too."""
    path = folder / JOB_FILE
    written = read_toml(path, str(path))
    have, way = job.ways.have, chosen_way(folder, job)
    for kind in KINDS:
        own = machine_name(written.get(kind), kind)
        name = way.machine if way is not None and way.kind == kind else own
        named = kind in written or (way is not None and way.kind == kind)
        if kind in have if have is not None else named:
            here = job if name == own else _with_stock(written, kind, name, folder)
            yield MachineAtHand(kind, name, here, own=True)
        else:
            name = ""
        for stock in stock_names(f"{kind}s") if every else ():
            if stock != name:
                yield MachineAtHand(
                    kind, stock, _with_stock(written, kind, stock, folder), own=False
                )


def _with_stock(written: Mapping[str, Any], kind: MachineKind, name: str, folder: Path) -> Job:
    return check_job({**written, kind: {"profile": name}}, folder, Job)


def plan_of_way(
    folder: Path, job: Job, layout: Layout, own_plan: Callable[[MachineKind, Job], Plan], name: str
) -> Plan:
    """The division that a way of `reckoning` is reckoned by; strips of an arm's reach by hand.

    Raises RefusedError where the machine cannot be divided for, or the way has no sections;
    BadInputError for no such way.
    """
    if name == FULL_SIZE:
        raise RefusedError(f"{name}: marked from paper laid over the whole of it, without sections")
    if name in HAND_WAYS:
        return divided("reach", layout, job, None)
    for machine in machines(folder, job, every=True):
        for way in ways_of(machine.kind, machine.name, machine.job.plotter):
            if way.id == name:
                return _plan(machine, layout, own_plan, way.cross_lines)
    raise BadInputError(f"{name}: no way of marking this cover; canvasrule ways lists them")


def _plan(
    machine: MachineAtHand,
    layout: Layout,
    own_plan: Callable[[MachineKind, Job], Plan],
    cross_lines: CrossLines,
) -> Plan:
    """Its sections where it inks cross lines so."""
    inking = machine.job.inking.model_copy(update={"cross_lines": cross_lines})
    asked = machine.job.model_copy(update={"inking": inking})
    if machine.own:
        return own_plan(machine.kind, asked)
    return divided("plotter" if machine.kind == "plotter" else "beam", layout, asked, None)


def _of_machine(
    machine: MachineAtHand,
    layout: Layout,
    cover: InkCount,
    fence: FenceTable | None,
    own_plan: Callable[[MachineKind, Job], Plan],
) -> list[Way]:
    job = machine.job
    tape = tape_of(job.tape)

    def plan_as(cross_lines: CrossLines) -> Plan:
        return _plan(machine, layout, own_plan, cross_lines)

    says = FROM_LIGHT
    if machine.kind == "plotter":
        says = BY_PLOTTER if job.plotter.on_cover else FED_THROUGH
    try:
        if machine.kind == "projector":
            return [*projector_ways(machine.name, job, layout, plan_as, tape)]
        plan = plan_as("device")
    except RefusedError as fault:
        return [cannot_be_done(machine.name, says, machine.name, str(fault))]
    task = Task(layout, plan, tape, job.units, allowed_of(job))
    return [*plotter_ways(PlotterWork(machine.name, job, task, cover, plan_as), fence)]

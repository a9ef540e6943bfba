"""The way that [ways] names, as every verb follows it: whose machine, fence or none, lines ruled.

It reads an id and the keys beside it; it reckons nothing and knows no layout.
"""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from msgspec import Struct

from devices.job import Job
from marking.errors import BadInputError, RefusedError
from marking.input.toml import read_toml
from marking.job.folder import JOB_FILE, check_job
from marking.shipped_files import stock_names

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from devices.plotter.profile import Plotter
    from marking.sections.zones import ZoneName
    from marking.ways.way import CrossLines

MachineKind: TypeAlias = Literal["plotter", "projector"]
KINDS: tuple[MachineKind, ...] = ("plotter", "projector")
FULL_SIZE = "full-size"
HAND_WAYS = ("hand", "hand-strips", FULL_SIZE)
"""Ids of the ways without a machine."""
_Endings: TypeAlias = "Mapping[str, tuple[bool, CrossLines]]"
_THROUGH: _Endings = {"": (False, "device")}
_BY_LIGHT: _Endings = {"": (False, "device"), "-ends": (False, "ruled")}
_ON_COVER: _Endings = {
    "": (False, "device"),
    "-bands": (False, "ruled"),
    "-fence": (True, "device"),
    "-bands-fence": (True, "ruled"),
}
"""By how an id ends after its machine's name: whether there is a fence, who does cross lines."""


class ChosenWay(Struct, frozen=True):
    """A way by its id."""

    id: str
    kind: MachineKind | None
    """None of a way by hand."""
    machine: str
    """The name of its profile, or "hand"."""
    fence: bool = False
    cross_lines: CrossLines = "device"

    @property
    def zone(self) -> ZoneName:
        """What limits its sections."""
        return "reach" if self.kind is None else "beam" if self.kind == "projector" else "plotter"


def followed(folder: Path, job: Job, written: Mapping[str, Any] | None = None) -> Job:
    """`job`, read from `folder`, as the way that it chooses has it; as it is where it chooses none.

    `written` are the tables that it was read from, where they are not those of the file. Raises
    BadInputError for an id that is no way of this job, and where other keys say otherwise.
    """
    if job.ways.way is None:
        return job
    path = folder / JOB_FILE
    written = read_toml(path, str(path)) if written is None else written
    way = _named(job.ways.way, written, job, path)
    for fault in _contradictions(way, written, job):
        raise BadInputError(f'{path}: ways.way = "{way.id}" {fault}')
    if way.kind is not None and way.machine != machine_name(written.get(way.kind), way.kind):
        job = check_job({**written, way.kind: {"profile": way.machine}}, folder, Job)
    return job.model_copy(
        update={
            "fence": job.fence if way.fence else None,
            "inking": job.inking.model_copy(update={"cross_lines": way.cross_lines}),
        }
    )


def chosen_way(folder: Path, job: Job) -> ChosenWay | None:
    """The way that `job` chooses; None where it chooses none. Raises BadInputError."""
    if job.ways.way is None:
        return None
    path = folder / JOB_FILE
    return _named(job.ways.way, read_toml(path, str(path)), job, path)


def zone_chosen(folder: Path, job: Job, written: Mapping[str, Any] | None = None) -> ZoneName:
    """The zone of the way that `job` chooses, or the plotter's; `written` is as for `followed`."""
    if job.ways.way is None:
        return "plotter"
    path = folder / JOB_FILE
    written = read_toml(path, str(path)) if written is None else written
    return _named(job.ways.way, written, job, path).zone


def check_inked_by(folder: Path, job: Job, kinds: Sequence[MachineKind], verb: str) -> None:
    """Raises RefusedError where the way chosen has nothing to do for a verb of such machines."""
    way = chosen_way(folder, job)
    if way is not None and way.kind not in kinds:
        does = f"goes by the {way.kind}" if way.kind is not None else "is by hand"
        asked = " or ".join(f"a {kind}" for kind in kinds)
        raise RefusedError(
            f'{folder / JOB_FILE}: ways.way = "{way.id}" {does}, and canvasrule {verb} is for '
            f"{asked}. Choose another way there, or leave way out; canvasrule ways lists them"
        )


def machine_name(table: Mapping[str, Any] | None, kind: MachineKind) -> str:
    """A machine's name as the id of a way has it: its profile's, without folder and ending."""
    profile = table.get("profile") if isinstance(table, dict) else None
    if profile is None:
        extra = Job.model_fields[kind].json_schema_extra
        profile = extra["profile"] if isinstance(extra, dict) else kind
    stem = PurePath(str(profile)).stem.lower()
    return "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in stem)[:40]


def _named(name: str, written: Mapping[str, Any], job: Job, path: Path) -> ChosenWay:
    own = [(kind, machine_name(written.get(kind), kind)) for kind in KINDS]
    there = [ChosenWay(one, None, "hand") for one in HAND_WAYS]
    for kind, machine in own:
        there += ways_of(kind, machine, job.plotter)
    stock = [(kind, one) for kind in KINDS for one in stock_names(f"{kind}s")]
    for kind, machine in stock:
        if (kind, machine) not in own and name.startswith(machine):
            named = check_job({**written, kind: {"profile": machine}}, path.parent, Job)
            there += ways_of(kind, machine, named.plotter)
    found = next((one for one in there if one.id == name), None)
    if found is None:
        given = [kind for kind in KINDS if kind in written]
        ids = sorted(
            one.id
            for one in there
            if (one.kind is None or one.kind in given)
            and (job.fence is not None or not one.fence)
            and (one.kind, one.machine) in (*own, (None, "hand"))
        )
        raise BadInputError(
            f'{path}: ways.way = "{name}" is no way of marking this cover; one of {", ".join(ids)} '
            "would do, and canvasrule ways --all tries every stock machine"
        )
    return found


def ways_of(kind: MachineKind, machine: str, plotter: Plotter) -> Iterator[ChosenWay]:
    """The ways of one machine, as `job` names it."""
    endings = _BY_LIGHT
    if kind == "plotter":
        endings = _ON_COVER if plotter.on_cover else _THROUGH
    for ending, (fence, cross_lines) in endings.items():
        yield ChosenWay(machine + ending, kind, machine, fence, cross_lines)


def _contradictions(way: ChosenWay, written: Mapping[str, Any], job: Job) -> Iterator[str]:
    """What other keys say against a way, each to go on after its id."""
    kind = way.kind
    if kind is not None:
        own = machine_name(written.get(kind), kind)
        if kind in written and own != way.machine:
            yield (
                f"goes by the {way.machine}, and [{kind}] names the {own}: change one of the two, "
                f"or leave [{kind}] out"
            )
        if job.ways.have is not None and kind not in job.ways.have:
            yield f"takes a {kind}, and ways.have does not name one: change one of the two"
    if way.fence and job.fence is None:
        yield (
            "goes along a fence, and there is no [fence]: give its length there, or choose "
            f"{way.id.removesuffix('-fence')}"
        )
    if "cross_lines" in job.inking.model_fields_set and job.inking.cross_lines != way.cross_lines:
        meant = "rules cross lines by hand" if way.cross_lines == "ruled" else "rules none of them"
        if kind is None and way.cross_lines == "device":
            meant = "has no machine that would ink their ends"
        yield (
            f'{meant}, and inking.cross_lines = "{job.inking.cross_lines}": leave that key out, '
            "since the way says it, or choose another way"
        )

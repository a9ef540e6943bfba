"""A job with a commented job.toml, for a table of which the size is known."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from devices.job import Job
from devices.job_text import job_text
from devices.new_job.folder import make_folder, new_path
from marking.errors import BadInputError, RefusedError
from marking.input.toml import read_toml
from marking.job.folder import JOB_FILE, check_job
from marking.job.values import is_printable
from marking.measures.lengths import parse_length
from marking.shipped_files import stock, stock_names

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from marking.measures.lengths import Units


class TableSize(Struct, frozen=True):
    """How large the table is, as a person wrote it; `table` names the stock table it is."""

    length: str
    width: str
    table: str | None = None

    @property
    def units(self) -> Units:
        """The units in which its length is written."""
        return "mm" if self.length.rstrip().lower().endswith("m") else "in"


def stock_size(table: str) -> TableSize:
    """A stock table. Raises BadInputError for a name that is none."""
    if table not in (names := stock_names("tables")):
        raise BadInputError(f"--table {table}: stock tables are {', '.join(names)}")
    label = f"stock profile tables/{table}.toml"
    profile = read_toml(stock().joinpath("tables", f"{table}.toml"), label)
    return TableSize(str(profile["length"]), str(profile["width"]), table)


def own_size(length: str, width: str) -> TableSize:
    """A table of one's own. Raises BadInputError for what is no length of a table."""
    for name, text in (("length", length), ("width", width)):
        try:
            if parse_length(text) <= 0:
                raise ValueError("a length here must be more than zero")
            if not text.isprintable():
                raise ValueError("write it on one line")
        except ValueError as fault:
            raise BadInputError(f"--{name} {text!r}: {fault}") from None
    return TableSize(length, width)


def check_machines(plotter: str | None, projector: str | None) -> None:
    """Raises BadInputError for a machine that is named and not in stock."""
    for kind, name in (("plotter", plotter), ("projector", projector)):
        if name is not None and name not in (names := stock_names(f"{kind}s")):
            raise BadInputError(f"--{kind} {name}: stock {kind}s are {', '.join(names)}")


def make_fresh(
    folder: Path,
    size: TableSize,
    *,
    title: str | None = None,
    units: Units | None = None,
    plotter: str | None = None,
    projector: str | None = None,
) -> Job:
    """Makes the job of a table; its title is the folder's name where none is given.

    Raises BadInputError, RefusedError where it would not read back; nothing is written then.
    """
    new_path(folder)
    check_machines(plotter, projector)
    # Where the removable pen stands by default depends on the machine.
    plain: dict[str, Any] = {"table": {"length": size.length, "width": size.width}}
    if plotter is not None:
        plain["plotter"] = {"profile": plotter}
    holder = check_job(plain, folder, Job).pens.removable.slot
    text = job_text(
        *(title or _title_of(folder), units or size.units, size.table, size.length, size.width),
        *(plotter, holder, projector),
    )
    job = check_job(tomllib.loads(text), folder, Job)
    make_folder(folder, {JOB_FILE: text.encode()})
    return job


def by_hand(job: Job) -> Iterator[str]:
    """What its cover takes by hand, as `ways` reckons it; nothing of a top that takes no lines."""
    from marking.job.keys import paper_of, tape_of
    from marking.layout.layout import lay_out
    from marking.ways.acts import least_hours
    from marking.ways.by_hand import hand_ways
    from marking.ways.ink_counted import cover_of
    from marking.ways.tape_scale import tape_scale_most

    try:
        cover = cover_of(lay_out(job))
    except RefusedError:
        return
    most = tape_scale_most(tape_of(job.tape))
    acts = next(hand_ways(cover, job.pace, most, paper_of(job))).acts
    low, high = least_hours(acts, job.pace.first_time).person
    yield f"Marked by hand from tape sheets it takes about {low:.1f} to {high:.1f} person-hours."


def _title_of(folder: Path) -> str:
    """The folder's name, as far as it can be printed."""
    return "".join(filter(is_printable, folder.resolve().name))[:200] or "Table cover"

"""What a change that is typed would make of a job, and whether it is kept, waits or is refused.

Measurements of one top wait for one another, and so do those of a rail: half of them is no table
of job.toml. It reads the job's text and what waits, and writes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct, field

from devices.bench.fields.field import fields
from devices.bench.state import standing, written_at
from devices.bench.steps import kept_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from devices.bench.fields.field import Field
    from devices.bench.job_file import JobFile
    from devices.bench.state import Standing
    from marking.job.written import Written

SURVEY, FENCE = "table.survey.", "fence."
_SQUARE = tuple(f"{SURVEY}square_{one}" for one in ("along", "across", "between"))
"""Two marks and the tape between them: one without the others is nothing."""
Fate = Literal["kept", "waits", "refused"]


class Proposal(Struct, frozen=True):
    """A job as it would be with one field changed."""

    text: str
    would_be: Standing
    fate: Fate
    with_it: tuple[str, ...] = ()
    """Names of fields whose values waited, and would be kept with it."""
    taken_out: Mapping[str, str] = field(default_factory=dict)
    """Values by field that stand in job.toml and would wait again."""

    @property
    def faults(self) -> Mapping[str, str]:
        """What is wrong, by field; nothing where only something is waited for."""
        return {} if self.fate == "waits" and self.would_be.only_missing else self.would_be.faults


def proposal(
    file: JobFile, now: Standing, waiting: Mapping[str, str], one: Field, value: Written
) -> Proposal:
    """What one change would make. Raises BadInputError where job.toml cannot be written so."""
    changes, out = _changes(now, one, value)
    waits = [name for name in waiting if name in fields() and name != one.name]
    together = _group(one.name)
    mates = [name for name in waits if together and _group(name) == together]
    # All that waits is tried first, then what belongs together. Nothing goes
    # in while a value is taken out.
    for some in dict.fromkeys(((),) if value is None else (tuple(waits), tuple(mates))):
        text = file.proposed({**_values(waiting, some), **changes})
        would_be = standing(now.folder, text)
        if would_be.layout is not None:
            break
    return Proposal(text, would_be, _fate(now, would_be, one, value), some, out)


def faults_of_waiting(file: JobFile, now: Standing, waiting: Mapping[str, str]) -> dict[str, str]:
    """What is wrong with values that wait and are whole, by field; nothing while some lack."""
    names = [name for name in waiting if name in fields()]
    if not names or now.layout is None:
        return {}
    would_be = standing(now.folder, file.proposed(_values(waiting, names)))
    return {} if would_be.only_missing else dict(would_be.faults)


def _values(waiting: Mapping[str, str], names: Iterable[str]) -> dict[Sequence[str], Written]:
    return {fields()[name].keys: waiting[name] for name in names}


def _group(name: str) -> str:
    """The table whose keys wait for one another; "" for any other field."""
    return next((group for group in (SURVEY, FENCE) if name.startswith(group)), "")


def _changes(
    now: Standing, one: Field, value: Written
) -> tuple[dict[Sequence[str], Written], Mapping[str, str]]:
    """What is changed in job.toml, and which values wait from then on."""
    if value is not None or one.name not in (*_SQUARE, f"{FENCE}length"):
        return {one.keys: value}, {}
    if one.name.startswith(FENCE):
        # Without its length there is no rail.
        return {one.keys[:-1]: None}, {}
    square = [fields()[name] for name in _SQUARE]
    survey = now.written.get("table", {}).get("survey", {})
    out = {each.name: str(survey[each.keys[-1]]) for each in square if each.keys[-1] in survey}
    out.pop(one.name, None)
    return {each.keys: None for each in square}, out


def _fate(now: Standing, would_be: Standing, one: Field, value: Written) -> Fate:
    if would_be.layout is not None:
        return "kept"
    of_group = bool(_group(one.name)) and value is not None
    if would_be.job is None:
        return "waits" if of_group and would_be.only_missing else "refused"
    if of_group and written_at(now.written, one) is None:
        return "waits"
    # What is inked stays the measure, and a job that lays out is not made one that does not.
    if now.layout is not None or one.name in would_be.faults or kept_of(now.folder).begun:
        return "refused"
    return "kept"

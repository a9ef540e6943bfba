"""Keeps the desk in `job.db`, so that after a crash everything is as it was.

It owns the rows of `beam` in the job's record; it knows the desk and the record, no browser.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from devices.machine_zones import division_settings
from devices.projector.desk.desk import Desk, TrueUp, begun
from devices.projector.trueup.calibration import Landing
from devices.projector.trueup.result import Trued, from_kept, kept
from devices.projector.trueup.targets import LightTarget
from devices.serving.taps import Taps
from devices.serving.taps import from_kept as taps_from_kept
from devices.serving.taps import kept as taps_kept
from marking.begun.inked import ink_name
from marking.begun.layout_and_division import TO_FINISH, keep_begun
from marking.errors import RefusedError
from marking.record.cells import json_cell
from marking.record.kept import as_kept

if TYPE_CHECKING:
    from devices.projector.desk.work import BeamWork
    from marking.record.record import Record

_PLAIN = (
    "section",
    "line",
    "blank",
    "check",
    "traced_look",
    "kind",
    "colour",
    "width_px",
    "outlines",
    "arrows",
    "notes",
)


def _add_light(record: Record, work: BeamWork, subject: str, value: Any) -> None:
    """Keeps what holds from now on of a `subject` of the projector's work, plain data."""
    row = (work.layout_hash, work.division, subject, json_cell(value))
    record.add_rows("beam", "layout, division, subject, value", [row])


def _light(record: Record, work: BeamWork) -> dict[str, Any]:
    """The last value of each subject of the projector's work under this layout and division.

    What version 0.1 kept, without a division, is the one in which it fits: who asks checks it.
    """
    under = [
        row
        for division in ("", work.division)
        for row in record.last_rows("beam", "subject", layout=work.layout_hash, division=division)
    ]
    rows = sorted(under, key=lambda row: row[0])
    return {subject: value for _, _, _, subject, value, _ in rows}


def remembered(record: Record, work: BeamWork) -> Desk:
    """The desk as last kept for this layout; a new one where there is none."""
    rows = _light(record, work)
    with as_kept(rows, "the desk"):
        return _desk_of(rows, work)


def _desk_of(rows: dict[str, Any], work: BeamWork) -> Desk:
    desk = begun(work)
    plain = {key: value for key, value in rows.get("desk", {}).items() if key in _PLAIN}
    known = set(work.section_ids)
    if plain.get("section", desk.section) not in known:
        # The same lines, cut otherwise since: for another projector, or another reach.
        return replace(desk, notes=str(plain.get("notes", "")))
    traced = {
        subject.removeprefix("traced "): frozenset(value)
        for subject, value in rows.items()
        if subject.startswith("traced ")
    }
    under_way = rows.get("true-up")
    lines = work.line_ids(plain.get("section", desk.section), "all")
    if plain.get("line", desk.line) not in lines:
        plain["line"] = next(iter(lines), None)
    return replace(
        desk,
        **plain,
        traced=traced,
        trued=_trued_of(rows),
        true_up=_true_up_of(under_way) if under_way else None,
    )


def refuse_unknown_lines(record: Record, work: BeamWork) -> None:
    """Refuses to go on where version 0.1 kept lines as traced that this division does not have.

    It kept no division with them, so what they are called is all that tells. Raises RefusedError.
    """
    for subject, lines in _light(record, work).items():
        kind, _, section = subject.partition(" ")
        if kind != "traced" or not lines:
            continue
        known = work.line_ids(section, "all") if section in work.section_ids else []
        if not set(lines) <= set(known):
            raise RefusedError(
                f"{section}: lines were traced here as another division has it; going on would "
                "light some twice and leave others out. The projector or the reach has changed "
                f"since: put it back as it was. {TO_FINISH}"
            )


def _trued_of(rows: dict[str, Any]) -> dict[str, Trued]:
    return {
        subject.removeprefix("trued "): from_kept(value)
        for subject, value in rows.items()
        if subject.startswith("trued ")
    }


def remembered_taps(record: Record, work: BeamWork) -> Taps:
    """The taps answered last; kept with the desk, so that none is done twice after a crash."""
    return taps_from_kept(_light(record, work).get("taps", {}))


def keep_tap(record: Record, work: BeamWork, before: Desk, after: Desk, taps: Taps) -> None:
    """Adds what a tap changed and that it was answered, both or neither. Raises as `keep` does."""
    with record.together():
        keep(record, work, before, after)
        _add_light(record, work, "taps", taps_kept(taps))


def keep(record: Record, work: BeamWork, before: Desk, after: Desk) -> None:
    """Adds what changed from `before` to `after`; tracing also counts as ink.

    Raises RefusedError, before anything is kept, when ink stands under another layout.
    """
    for section, lines in after.traced.items():
        had = before.traced.get(section, frozenset())
        if lines == had:
            continue
        keep_begun(
            record, work.job, work.layout, work.plan, division_settings("beam", work.job, None)
        )
        if lines and not had:
            record.add_ink(work.layout, ink_name(section, "beam"), "begun", work.division)
        if lines >= set(work.line_ids(section, "all")):
            record.add_ink(work.layout, ink_name(section, "beam"), "done", work.division)
        _add_light(record, work, f"traced {section}", sorted(lines))
    for section, trued in after.trued.items():
        if trued is not before.trued.get(section):
            _add_light(record, work, f"trued {section}", kept(trued))
    if after.true_up is not before.true_up:
        _add_light(record, work, "true-up", _plain_true_up(after.true_up))
    plain = {key: getattr(after, key) for key in _PLAIN}
    if plain != {key: getattr(before, key) for key in _PLAIN}:
        _add_light(record, work, "desk", plain)


def _plain_true_up(true_up: TrueUp | None) -> Any:
    if true_up is None:
        return None
    return {
        "targets": [
            [t.name, t.at_px, t.at_table, t.sd, t.what, t.touched, t.again] for t in true_up.targets
        ],
        "landed": [
            [one.name, one.at_px, one.at_table, one.sd, one.rounded]
            for one in true_up.landed.values()
        ],
        "at": true_up.at,
        "quick": true_up.quick,
    }


def _true_up_of(data: dict[str, Any]) -> TrueUp:
    return TrueUp(
        tuple(
            LightTarget(name, (px[0], px[1]), (at[0], at[1]), *known)
            for name, px, at, *known in data["targets"]
        ),
        {
            name: Landing(name, (px[0], px[1]), (at[0], at[1]), *known)
            for name, px, at, *known in data["landed"]
        },
        data["at"],
        data["quick"],
    )

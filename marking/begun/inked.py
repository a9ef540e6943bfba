"""Which sections of a division are inked, and whether ink stands that another division placed.

A section's id says nothing by itself: under another layout or division it names other lines. It
knows the record and the plan, no machine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.begun.layout_and_division import TO_FINISH, divisions_of
from marking.begun.on_the_cover import plan_hash, pose_from
from marking.errors import RefusedError
from marking.job.settings import changes, in_words
from marking.record.record import layout_hash
from marking.sections.neighbours import window_middle
from marking.sections.zones import MANNERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pydantic import BaseModel

    from marking.job.settings import Settings
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.record.record import Record
    from marking.record.rows import KeptInk, KeptRuled, KeptRun
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName

_SAME_WINDOW = 0.01
"""mm that one division's window may lie off another's and count as the same."""


def ink_name(section: str, zone: ZoneName) -> str:
    """What a section's ink is kept under."""
    return f"{MANNERS[zone].kept_under}{section}"


def _kept_under(section: str) -> str:
    """How the name that ink is kept under begins, where that tells whose it is."""
    apart = (manner.kept_under for manner in MANNERS.values() if manner.kept_under)
    return next((name for name in apart if section.startswith(name)), "")


def traced_alone(record: Record) -> bool:
    """Whether all ink that is kept was traced from a projector's light, none laid by a plotter."""
    ink = record.ink()
    return bool(ink) and not record.runs() and all(_kept_under(one.section) for one in ink)


def done_sections(record: Record, layout: Layout, plan: Plan) -> frozenset[str]:
    """Ids of the sections of this very division that are inked."""
    named, division = layout_hash(layout), plan_hash(plan)
    own = {ink_name(section.id, plan.zone.name): section.id for section in plan.sections}
    return frozenset(
        own[ink.section]
        for ink in record.ink()
        if ink.event == "done"
        and ink.section in own
        and ink.layout == named
        and _division_of(ink, record) in ("", division)
    )


def drawn_pieces(record: Record, layout: Layout, plan: Plan) -> dict[str, frozenset[str]]:
    """By section of this very division, the ids of its pieces that lie on the cover.

    What was sent and never confirmed is not among them.
    """
    done = done_sections(record, layout, plan)
    runs = {run.id for run in record.runs() if run.plan in ("", plan_hash(plan))}
    drawn: dict[str, set[str]] = {}
    for kept in record.strokes():
        if kept.run in runs and kept.event != "sent":
            drawn.setdefault(kept.section, set()).add(kept.stroke)
    return {
        section.id: frozenset(
            piece.stroke.id
            for piece in section.pieces
            if section.id in done or piece.stroke.id in drawn.get(section.id, ())
        )
        for section in plan.sections
    }


def ruled_lines_done(record: Record, layout: Layout, plan: Plan) -> frozenset[str]:
    """Ids of the lines of this very division that are ruled by hand and not taken back."""
    named, division = layout_hash(layout), plan_hash(plan)
    last = {
        kept.line: kept.event
        for kept in record.ruled()
        if (kept.layout, kept.plan) == (named, division)
    }
    return frozenset(line.id for line in plan.ruled if last.get(line.id) == "ruled")


def runs_of(record: Record, section: str, plan: Plan) -> tuple[KeptRun, ...]:
    """The runs on a section of this very division, oldest first."""
    division = plan_hash(plan)
    return tuple(run for run in record.runs(section) if run.plan in ("", division))


def _division_of(ink: KeptInk, record: Record) -> str:
    """The division that ink is under; empty where nothing tells.

    Version 0.1 kept none with ink that a person spoke for; its placement has it.
    """
    if ink.plan:
        return ink.plan
    placed = [one for one in record.placements(ink.section) if one.layout == ink.layout]
    detail = placed[-1].detail if placed else None
    return str(detail.get("plan", "")) if isinstance(detail, dict) else ""


def guard_division(
    record: Record,
    layout: Layout,
    plan: Plan,
    settings: Settings | None = None,
    units: Units = "in",
    model: type[BaseModel] | None = None,
) -> None:
    """Refuses to go on where sections were inked as another layout or division has them.

    A section's id then names other lines than those inked under it. `settings` are those that
    `plan` is made for, so that what has changed can be named. Raises RefusedError.
    """
    other = _inked_otherwise(record, layout, plan)
    if not other:
        return
    named = list(dict.fromkeys(ink.section for ink in other))
    shown = ", ".join(named[:4]) + (", …" if len(named) > 4 else "")
    why = _why(record, other[-1], plan, settings, units, model)
    raise RefusedError(
        f"{shown}: inked as another layout or division has it, and going on would leave lines out "
        f"and ink others twice; nothing was done. {why}. For a new cover, make a job in a folder "
        "of its own"
    )


def _inked_otherwise(
    record: Record, layout: Layout, plan: Plan
) -> Sequence[KeptInk | KeptRun | KeptRuled]:
    named, division, manner = layout_hash(layout), plan_hash(plan), plan.zone.manner
    sections = {ink_name(section.id, plan.zone.name): section for section in plan.sections}
    runs = {run.section for run in record.runs()}
    other: list[KeptInk | KeptRun | KeptRuled] = list(
        _ruled_otherwise(record, named, division, plan)
    )
    for ink in record.ink():
        if _kept_under(ink.section) != manner.kept_under:
            continue
        under = _division_of(ink, record)
        # What light traced under version 0.1 is told by its lines, where it is remembered.
        untold = not under and not manner.kept_under and ink.section not in runs
        if ink.layout != named or under not in ("", division) or untold:
            other.append(ink)
    # Records of before the division was kept still tell where a section's window lay.
    other += [
        run
        for run in record.runs()
        if manner.inks_by_itself
        and not run.plan
        and (
            run.section not in sections
            or not np.allclose(
                pose_from(run.pose).about, window_middle(sections[run.section]), atol=_SAME_WINDOW
            )
        )
    ]
    return other


def _ruled_otherwise(record: Record, named: str, division: str, plan: Plan) -> Iterator[KeptRuled]:
    """Lines ruled between the stubs of another division of the same zone, and not taken back."""
    of_zone = {one.hash for one in divisions_of(record, named, plan.zone.name)} | {division}
    last = {(kept.plan, kept.line): kept for kept in record.ruled()}
    for kept in last.values():
        if kept.event == "undone" or (kept.layout == named and kept.plan == division):
            continue
        if kept.layout != named or kept.plan in of_zone:
            yield kept


def _why(
    record: Record,
    ink: KeptInk | KeptRun | KeptRuled,
    plan: Plan,
    settings: Settings | None,
    units: Units,
    model: type[BaseModel] | None,
) -> str:
    """What has changed since, and how to go on."""
    kept = [one for one in divisions_of(record, ink.layout, plan.zone.name) if one.hash == ink.plan]
    if not kept:
        return (
            "Since then job.toml, the machine or its measured correction has changed: put them "
            f"back as they were. {TO_FINISH}"
        )
    differ = changes(kept[0].begun_with, settings) if settings is not None else ()
    said = in_words(differ, units, model) if model is not None else in_words(differ, units)
    return (
        f"{said or 'job.toml, the machine or its measured correction has changed'}. Put them back "
        "as they were (a correction by canvasrule trial --measured --replace --despite-ink, with "
        "the figures it came from)"
    )

"""The ink as it was tried: four grades of what came off onto white cloth, and for which pens.

Method after ISO 105-X12 (rubbing, dry and wet) and ISO 105-X11 (hot pressing, dry and damp), grades
by the grey scale for staining of ISO 105-A03. Looked up in summaries of the three: a finger of
16 mm under 9 N, to and fro over 104 mm; a dry specimen under a dry, or a wet, white cotton. From
memory: ten times to and fro, 15 s of pressing, nine grades from 5 down to 1. A bench is no
laboratory: it is the workroom's own cloth, iron and hand. It knows no file but the one that a
person wrote, and no machine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

from marking.begun.on_the_cover import COVER
from marking.errors import BadInputError, shortened
from marking.input.text import read_text
from marking.input.toml import toml_tables
from marking.measures.durations import parse_duration
from marking.record.kept import as_kept

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from marking.job.keys import PensTable
    from marking.record.record import Record

TRIALS = {
    "dry_rub": "rubbed with a dry white cloth",
    "damp_rub": "rubbed with a damp white cloth",
    "dry_press": "pressed under a dry white cloth",
    "damp_press": "pressed under a damp white cloth",
}
GRADES = ("5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1")
"""By the grey scale of ISO 105-A03: 5 is no stain, 1 the worst."""
BY_EYE = ("clean", "trace", "stained")
"""Where one has no grey scale."""
STAYS = ("5", "4-5", "clean")
"""What may lie under customers' cloth: our judgement, no source."""
_PENS = ("lines", "heavy", "numerals")
_WORDS = ("pen", "iron", "cloth")
_LABEL = "ink.toml"
_INKS = ("width", "speed", "force", "ink_length")


class TriedInk(Struct, frozen=True):
    """What a person saw. `went_on` is the reason to ink without having looked."""

    pens: Mapping[str, Any]
    dried: float = 0.0
    """Seconds that the ink had dried for."""
    grades: Mapping[str, str] | None = None
    told: Mapping[str, str] | None = None
    """Pen, iron and cloth in the person's words."""
    went_on: str | None = None

    @property
    def comes_off(self) -> tuple[str, ...]:
        """The trials that showed more than customers' cloth may take."""
        return tuple(name for name, grade in (self.grades or {}).items() if grade not in STAYS)


def pens_tried(pens: PensTable) -> dict[str, Any]:
    """What tells one pen from another: neither its holder nor its passes do."""
    return {name: pens.named(name).model_dump(include=set(_INKS)) for name in _PENS}


def read_tried(path: Path, pens: PensTable) -> TriedInk:
    """The answers in a TOML file. Raises BadInputError with a message for each fault."""
    tables = toml_tables(read_text(path, str(path), "trial of ink"), str(path), "trial of ink")
    ink = tables.pop("ink", None)
    if not isinstance(ink, dict) or tables:
        raise BadInputError(f"{path}: write one table [ink]; {_example()}")
    faults = list(_faults(path, ink))
    if faults:
        raise BadInputError(*faults)
    return TriedInk(
        pens_tried(pens),
        parse_duration(ink["dried"]),
        {name: str(ink[name]) for name in TRIALS},
        {name: str(ink[name]) for name in _WORDS if name in ink},
    )


def _faults(path: Path, ink: Mapping[str, Any]) -> Iterator[str]:
    known = ("dried", *TRIALS, *_WORDS)
    for name in ink:
        if name not in known:
            yield f"{path}: ink.{shortened(name)}: unknown key; there are {', '.join(known)}"
    for name in ("dried", *TRIALS):
        if name not in ink:
            yield f"{path}: ink.{name} is missing; {_example()}"
    if "dried" in ink:
        try:
            parse_duration(ink["dried"])
        except ValueError as fault:
            yield f"{path}: ink.dried: {fault}"
    for name in TRIALS:
        if name in ink and str(ink[name]) not in (*GRADES, *BY_EYE):
            yield (
                f"{path}: ink.{name} = {shortened(str(ink[name]))}: no grade; by the grey scale "
                f"{', '.join(GRADES)}, by eye {', '.join(BY_EYE)}"
            )


def _example() -> str:
    return (
        'for example dried = "24 h", dry_rub = "5", damp_rub = "4-5", dry_press = "clean", '
        'damp_press = "clean"'
    )


def keep_tried(record: Record, layout: str, tried: TriedInk) -> None:
    """Keeps an answer, under the layout with this hash."""
    kept = {
        "pens": tried.pens,
        "dried_seconds": tried.dried,
        "grades": dict(tried.grades or {}),
        "told": dict(tried.told or {}),
        "went_on": tried.went_on,
    }
    record.add_check(layout, "ink", COVER, kept)


def last_tried(record: Record) -> TriedInk | None:
    """The last answer of this job; None without any."""
    checks = record.checks("ink", COVER)
    if not checks:
        return None
    kept = checks[-1].result
    with as_kept(kept, "a trial of the ink"):
        return TriedInk(
            dict(kept["pens"]),
            float(kept["dried_seconds"]),
            dict(kept["grades"]),
            dict(kept["told"]),
            kept["went_on"],
        )


def waits_for(record: Record, pens: PensTable) -> str | None:
    """Why the first ink, or the first of another pen, waits; None where it need not.

    Ink that lies already was begun without: it is asked again when a pen has changed since an
    answer.
    """
    tried = last_tried(record)
    if tried is None:
        if record.ink() or record.runs():
            return None
        return "it is not kept that this ink stays on the canvas when cloth is rubbed and pressed"
    now = pens_tried(pens)
    changed = [name for name in now if now[name] != tried.pens.get(name)]
    if changed:
        return (
            f"the pen for {' and '.join(changed)} is another one than the ink was tried with, and "
            "another ink may come off"
        )
    if tried.went_on is None and tried.comes_off:
        off = ", ".join(f"{(tried.grades or {})[name]} {TRIALS[name]}" for name in tried.comes_off)
        return f"the ink came off onto white cloth when it was tried ({off})"
    return None

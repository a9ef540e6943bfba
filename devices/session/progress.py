"""What is certainly drawn, what may be, and what is not; how much ink and time that leaves."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.measures.counts import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from devices.dialects.writer import PenUse
    from marking.record.record import Record
    from marking.record.rows import KeptStroke


class Verdicts(Struct, frozen=True):
    """A section's strokes by what is known of them, each in inking order."""

    drawn: tuple[str, ...]
    maybe: tuple[str, ...]
    """Sent and never confirmed."""
    presumed: tuple[str, ...]
    """Drawn by the clock, of a machine that never answers."""
    open: tuple[str, ...]
    """Never sent."""

    @property
    def to_ink(self) -> frozenset[str]:
        """What a resumed run has to ink."""
        return frozenset((*self.maybe, *self.open))


def verdicts(strokes: Sequence[PenUse], kept: Iterable[KeptStroke]) -> Verdicts:
    """What the record says of each of `strokes`."""
    known: dict[str, set[str]] = {}
    for event in kept:
        known.setdefault(event.stroke, set()).add(event.event)
    groups: dict[str, list[str]] = {"drawn": [], "presumed": [], "sent": [], "": []}
    for stroke in strokes:
        events = known.get(stroke.id, set())
        best = next((kind for kind in ("drawn", "presumed", "sent") if kind in events), "")
        groups[best].append(stroke.id)
    return Verdicts(*(tuple(groups[kind]) for kind in ("drawn", "sent", "presumed", "")))


def in_words(found: Verdicts, section: str) -> str:
    """The verdicts, for a person who resumes."""
    text = (
        f"section {section}: {counted(len(found.drawn), 'stroke')} certainly drawn, "
        f"{len(found.maybe)} perhaps (to be drawn again, over what is there), "
        f"{len(found.open)} not drawn"
    )
    if found.presumed:
        text += f"; {len(found.presumed)} drawn by the clock alone: look at the cloth"
    return text


def what_next(section: str, ended: str, record: Record, again: str) -> Iterator[str]:
    """What a person has to know after a run that did not finish `section`.

    `ended` is how it ended; `again` is the command that goes on.
    """
    if not record.strokes(section):
        if ended == "interrupted":
            yield f"Nothing of {section} is inked yet. To begin it again: {again}"
        return
    pen = {
        "paused": "The pen is up and parked.",
        "stopped": "The pen was raised where it stood: look that it is up.",
        "interrupted": "The plotter was told to raise its pen, unless nothing had been sent to it "
        "yet: look that it is up.",
    }.get(ended, "Look that the pen is up.")
    yield f"{section} is begun. {pen} Do not move the device, nor the cover under it"
    yield f"To go on: {again}"


def record_csv(record: Record) -> str:
    """The run record as CSV, one event of one stroke a line."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["at", "run", "section", "stroke", "event"])
    for kept in record.strokes():
        table.writerow([kept.at.isoformat(), kept.run, kept.section, kept.stroke, kept.event])
    return text.getvalue()

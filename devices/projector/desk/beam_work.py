"""What the page works on: the job, its sections for the beam, and what to call each line."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.machine_zones import divided
from devices.projector.light.overlay import overlay
from devices.projector.light.throw import lens_over, nominal
from devices.projector.trueup.forecast import height_warnings
from devices.projector.trueup.points import KnownPoint, by_tape
from devices.projector.trueup.result import Aim
from marking.begun.on_the_cover import plan_hash
from marking.job.keys import tape_of
from marking.layout.layout import lay_out
from marking.layout.lines import dashed_line
from marking.measures.tape import tape_reading
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.job import Job
    from devices.projector.light.mapping import LightMapping
    from devices.projector.light.overlay import Overlay
    from marking.layout.layout import Layout
    from marking.measures.tape import Tape
    from marking.sections.plan import Piece, Plan, Section

_NAMES = {
    "cross": "cross line",
    "long": "long line",
    "hem": "hem line",
    "tick": "tick",
    "bias": "bias line",
    "witness": "locating tick",
}


class BeamWork(Struct, frozen=True, dict=True):
    """A job laid out and cut for its projector."""

    job: Job
    layout: Layout
    plan: Plan
    tape_marks: tuple[KnownPoint, ...] = ()
    """The tape marks that are set out on the cover."""

    @cached_property
    def layout_hash(self) -> str:
        """What the record keeps with every row."""
        return layout_hash(self.layout)

    @cached_property
    def division(self) -> str:
        """The hash of its sections, which the record keeps with what is traced."""
        return plan_hash(self.plan)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What to know before lines are traced."""
        return (*self.plan.warnings, *height_warnings(self.job, self.plan))

    @cached_property
    def section_ids(self) -> list[str]:
        """In inking order."""
        return [section.id for section in self.plan.sections]

    def section(self, name: str) -> Section:
        """The section called `name`."""
        return self.plan.sections[self.section_ids.index(name)]

    def expected(self, name: str) -> LightMapping:
        """The mapping by the profile, with the lens hung where the section asks for it."""
        projector = self.job.projector
        over = lens_over(projector, self.job.reach.depth, self.section(name).window)
        return nominal(projector, over)

    def aim(self, name: str) -> Aim:
        """What a true-up of a section is for."""
        job = self.job
        return Aim(
            self.section(name).core,
            self.layout.top.corners_table,
            self.expected(name),
            job.projector,
            self.tape,
            job.tolerance,
            job.units,
        )

    def light(self, name: str, mapping: LightMapping) -> Overlay:
        """All the light of a section through `mapping`."""
        job = self.job
        return overlay(self.section(name), mapping, job.projector.pixels, job.units, job.grid.pitch)

    @cached_property
    def tape(self) -> Tape:
        """What points are found by on the table."""
        return tape_of(self.job.tape)

    def by_tape(self, x: float, y: float) -> KnownPoint:
        """The point nearest to a place at which the tape shows whole inches or centimetres."""
        step = 25.4 if self.job.units == "in" else 10.0
        along, across = (tape_reading(at, self.tape) for at in (x, y))
        return by_tape(round(along / step) * step, round(across / step) * step, self.tape)

    @cached_property
    def _to_trace(self) -> dict[str, dict[str, list[Piece]]]:
        """By section: what is traced at one go, by the id of its first stroke.

        A numeral is one thing to trace, whatever its strokes, and so is a dashed line.
        """
        found: dict[str, dict[str, list[Piece]]] = {}
        for section in self.plan.sections:
            name = section.id
            together: dict[str, list[Piece]] = {}
            for piece in section.pieces:
                whole = piece.stroke.id
                if piece.stroke.layer == "numeral":
                    whole = piece.of.rpartition("-")[0]
                elif dashed_line(piece.of) is not None:
                    whole = f"{name}_{dashed_line(piece.of)}"
                together.setdefault(whole, []).append(piece)
            found[section.id] = {pieces[0].stroke.id: pieces for pieces in together.values()}
        return found

    def line_ids(self, name: str, kind: str) -> list[str]:
        """Ids of a section's lines and numerals of one kind, or all, in inking order."""
        return [
            line
            for line, pieces in self._to_trace[name].items()
            if kind in ("all", pieces[0].stroke.layer)
        ]

    def pieces(self, name: str, line: str | None) -> Sequence[Piece]:
        """What one of `line_ids` is made of; nothing of another."""
        return self._to_trace[name].get(line or "", ())

    def stroke_ids(self, name: str, line: str | None) -> list[str]:
        """Ids of the strokes of one of `line_ids`."""
        return [piece.stroke.id for piece in self.pieces(name, line)]

    def line_name(self, name: str, line: str | None) -> str:
        """What to call one of `line_ids` at the table."""
        pieces = self._to_trace[name].get(line or "")
        return line_name(pieces[0]) if pieces else "no line"


def work_for(job: Job) -> BeamWork:
    """`job` laid out and cut for its projector's beam, with nothing begun. Raises RefusedError."""
    layout = lay_out(job)
    return BeamWork(job, layout, divided("beam", layout, job, None))


def line_name(piece: Piece) -> str:
    """What to call a line at the table: `"cross line 12, heavy"`, `"numeral 12, near side"`."""
    layer, of = piece.stroke.layer, dashed_line(piece.of) or piece.of
    if layer == "numeral":
        _, side, text, _ = of.split("-", 3)
        return f"numeral {text}, {side} side"
    _, _, rest = of.partition("-")
    called = f"{_NAMES[layer]} {rest or of}".replace("-", " ")
    return f"{called}, heavy" if piece.stroke.pen == "heavy" else called

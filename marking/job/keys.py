"""What a person may ask for: the shape of `job.toml`, every key with its meaning and default.

It knows no file and no machine; `marking.job.folder` reads, `devices.job` adds the machines.
"""

import re
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StringConstraints,
    model_validator,
)

from marking.job.line_keys import LineTable, OtherUnitKeys
from marking.job.values import (
    Clearance,
    Count,
    Length,
    Run,
    ScaleError,
    Speed,
    Stretch,
    Switch,
    Table,
    Title,
    positive,
    text_schema,
)
from marking.job.work_keys import (
    AllowedTable,
    CoverTable,
    FenceTable,
    InkingTable,
    PaceTable,
    WaysTable,
)
from marking.measures.lengths import Units, parse_length
from marking.measures.tape import Tape, compared_to


class Fold(Table):
    """One hem of the schedule: a single one folds at `depth`, a double one also at twice it."""

    kind: Literal["single", "double"]
    depth: float

    @property
    def lines(self) -> tuple[float, ...]:
        """Distances in mm from the edge of the fold lines this hem uses."""
        return (self.depth,) if self.kind == "single" else (self.depth, 2 * self.depth)


def parse_fold(text: object) -> Fold | object:
    """A fold as written. Raises ValueError with advice."""
    if not isinstance(text, str):
        raise ValueError('not a fold; write it like "double 1 1/2 in" or "single 1 in"')
    match = re.fullmatch(r"\s*(single|double)\s+(.+)", text)
    if match is None:
        raise ValueError('a fold is "single" or "double" and a depth: "double 1 1/2 in"')
    depth: float = positive(parse_length, "a fold")(match[2])
    return Fold(kind="double" if match[1] == "double" else "single", depth=depth)


FoldText = Annotated[
    Fold, BeforeValidator(parse_fold), text_schema("double 4 in", "double 1 1/2 in")
]


GIVEN_TOGETHER = "are given together"
"""Said of keys that mean nothing one without the others."""


class AgainTable(Table):
    """Measurements of the survey taken a second time, the tape laid out anew."""

    near: Length | None = Field(default=None, description="The near edge, a second time")
    far: Length | None = Field(default=None, description="The far edge, a second time")
    zero_end: Length | None = Field(default=None, description="The zero end, a second time")
    far_end: Length | None = Field(default=None, description="The far end, a second time")
    diagonal_from_zero_near: Length | None = Field(default=None, description="A second time")
    diagonal_from_zero_far: Length | None = Field(default=None, description="A second time")


class SurveyTable(Table):
    """The real top as measured: four sides, two diagonals, and what more was taken."""

    near: Length = Field(description="The near edge, from the zero end to the far end")
    far: Length = Field(description="The far edge")
    zero_end: Length = Field(description="The zero end, from the near edge to the far edge")
    far_end: Length = Field(description="The far end")
    diagonal_from_zero_near: Length = Field(
        description="From the corner of zero end and near edge to the corner across"
    )
    diagonal_from_zero_far: Length = Field(
        description="From the corner of zero end and far edge to the corner across"
    )
    reading: Length = Field(
        default=parse_length("1/16 in"),
        description='How finely the tape was read, such as "1/16 in"',
    )
    middle: Length | None = Field(
        default=None, description="Across, from the middle of the near edge to that of the far one"
    )
    half_from_zero_near: Length | None = Field(
        default=None, description="From the corner of zero end and near edge to the far middle"
    )
    half_from_far_near: Length | None = Field(
        default=None, description="From the corner of far end and near edge to the far middle"
    )
    half_from_zero_far: Length | None = Field(
        default=None, description="From the corner of zero end and far edge to the near middle"
    )
    half_from_far_far: Length | None = Field(
        default=None, description="From the corner of far end and far edge to the near middle"
    )
    square_along: Length | None = Field(
        default=None, description="From the zero corner along the near edge to a mark"
    )
    square_across: Length | None = Field(
        default=None, description="From the zero corner along the zero end to a mark"
    )
    square_between: Length | None = Field(
        default=None, description="Between these two marks; 5 where the others are 4 and 3"
    )
    again: AgainTable | None = Field(
        default=None, description="Any of the six, taken a second time"
    )

    @model_validator(mode="after")
    def _square_is_whole(self) -> Self:
        legs = (self.square_along, self.square_across, self.square_between)
        if None in legs and legs != (None, None, None):
            raise ValueError(
                f"square_along, square_across and square_between {GIVEN_TOGETHER}: two marks, "
                "and the tape between them"
            )
        if self.square_along and self.square_along > self.near:
            raise ValueError("square_along is longer than the near edge that it lies on")
        if self.square_across and self.square_across > self.zero_end:
            raise ValueError("square_across is longer than the zero end that it lies on")
        return self


class TopTable(Table):
    """The table's top."""

    length: Length = Field(description="Along the long edges")
    width: Length = Field(description="From the near edge to the far edge")
    measured_to: Literal["board", "batten"] = Field(
        default="board",
        description="What every edge is: the bare board's, or a line struck along a batten held "
        "against the padded edge, with a square held to it",
    )
    edge_radius: Clearance = Field(
        default=0.0,
        description="How round that edge is; no ink is laid where the top curves away within it",
    )
    survey: SurveyTable | None = Field(default=None, description="The real top as measured")
    against_wall: Switch = Field(
        default=False, description="Whether the far edge stands against a wall: nobody works there"
    )


class GridTable(Table):
    """Cross lines and long lines."""

    pitch: Length = Field(default=25.4, description="From one line to the next")
    margin: Length = Field(default=25.4, description="Near and far edge to the first long line")
    end_margin: Clearance = Field(
        default=25.4, description="Zero end to the zero line, and the least at the far end"
    )
    heavy_every: Count = Field(
        default=12, ge=0, le=10_000, description="Every n-th cross line heavier; 0 for none"
    )
    half_ticks: Switch = Field(
        default=False, description="Short ticks at half pitch along both long sides"
    )
    bias: tuple[Annotated[Count, Field(ge=0)], ...] = Field(
        default=(), description="Cross-line numbers where 45-degree lines start"
    )
    long_lines: Literal["bands", "full"] = Field(
        default="bands", description="Long lines in the hem bands only, or across the whole width"
    )
    lines: tuple[LineTable, ...] = Field(
        default=(), description="Named long lines at distances of their own"
    )
    centre_line: Switch = Field(
        default=False, description="A heavy long line midway between the first long lines"
    )


class HemsTable(Table):
    """Hem bands along both long edges, and the hems folded to them."""

    counted_from: Literal["edge", "line"] = Field(
        default="edge",
        alias="from",
        description="Where bands and folds are counted from: the long edges, so that cloth hides "
        "the numerals, or the first long lines, so that the margins stay in view",
    )
    depth: Clearance = Field(
        default=parse_length("8 in"),
        description="How far from there the bands of long lines reach",
    )
    number_every: Literal["auto"] | Annotated[Count, Field(ge=0, le=1000)] = Field(
        default="auto",
        description='Small numerals on every n-th line of the bands, 0 for none; "auto": on '
        "every second where they are counted from the line",
    )
    number_apart: Length = Field(
        default=parse_length("3 ft"),
        description="From one such numeral to the next along its line, besides both ends",
    )
    between: Literal["auto", "solid", "dashed"] = Field(
        default="auto",
        description='How lines between those at the pitch are drawn; "auto": dashed where they '
        "are counted from the line",
    )
    folds: tuple[FoldText, ...] = Field(
        default=(
            Fold(kind="double", depth=parse_length("4 in")),
            Fold(kind="double", depth=parse_length("3 in")),
            Fold(kind="double", depth=parse_length("1 1/2 in")),
            Fold(kind="single", depth=25.4),
        ),
        description="The hem schedule",
    )
    cross_folds: Switch = Field(
        default=False,
        description="Also draw the extra fold lines as cross lines from the zero line",
    )

    @property
    def numbered(self) -> int:
        """Every which line of the bands carries its number; 0 for none."""
        if self.number_every != "auto":
            return self.number_every
        return 2 if self.counted_from == "line" else 0

    @property
    def dashed(self) -> bool:
        """Whether lines that are not at the pitch are dashed."""
        return self.between == "dashed" or (self.between == "auto" and self.counted_from == "line")


def _distinct(sides: tuple[str, ...]) -> tuple[str, ...]:
    if len(set(sides)) != len(sides):
        raise ValueError("it names a side twice")
    return sides


class NumeralsTable(OtherUnitKeys):
    """The numerals along the long sides."""

    sides: Annotated[tuple[Literal["near", "far"], ...], AfterValidator(_distinct)] = Field(
        default=("near", "far"), description="Which long sides carry numerals"
    )
    height: Literal["auto"] | Length = Field(
        default="auto", description='The drawn height, or "auto" for the greatest that fits'
    )
    every: Count = Field(default=1, ge=1, le=10_000, description="Number every n-th cross line")
    per_line: Count = Field(default=1, ge=1, le=10_000, description="What one pitch counts for")
    first: Count = Field(default=0, ge=0, le=1_000_000, description="The numeral on the zero line")
    second_zero: Literal["none", "middle"] | Length = Field(
        default="none",
        description="A second, smaller row in the margins that counts both ways from here: the "
        "middle, or a distance from the zero line",
    )
    middle_every: Count = Field(
        default=0,
        ge=0,
        le=10_000,
        description="Numerals in the middle of the table beside every n-th cross line; 0 for none",
    )
    clear: Clearance = Field(
        default=parse_length("1/8 in"),
        description="Least gap between neighbours and to any line or edge",
    )
    face: Annotated[str, StringConstraints(pattern=r"^[a-z0-9_]+$")] = Field(
        default="simplex", description='"simplex", or the name of another Hershey face'
    )
    view_from: Length = Field(
        default=parse_length("36 in"), description="Eye to numeral, for the legibility figure"
    )

    def at_line(self, number: int) -> int:
        """What is written, or would be, at the cross line so many from the zero line."""
        return self.first + number * self.per_line


class ClothTable(Table):
    """What the cover does after it is marked."""

    stretch_length: Stretch = Field(default=0.0, description="Stretch along the table")
    stretch_width: Stretch = Field(default=0.0, description="Stretch across the table")


class Pen(Table):
    """One way of drawing: the holder it comes from and the line it makes."""

    slot: Count = Field(default=1, ge=1, le=99, description="The plotter's pen holder")
    width: Length = Field(default=1.0, description="Width of the inked line")
    passes: Count = Field(
        default=1,
        ge=1,
        le=9,
        description="How often each line is drawn: straight ones half a tip apart, numerals over "
        "themselves",
    )
    speed: Speed | None = Field(default=None, description="Fastest this pen draws well on cloth")
    force: Count | None = Field(
        default=None, ge=1, le=99, description="Force step, where it has one"
    )
    ink_length: Run | None = Field(default=None, description="Line length one pen lasts")

    @property
    def beside(self) -> tuple[float, ...]:
        """How far to the left of a straight line each pass lies, in mm: half a tip apart, since
        ink over ink on canvas is no wider. None for a single pass."""
        if self.passes == 1:
            return ()
        return tuple((n - (self.passes - 1) / 2) * self.width / 2 for n in range(self.passes))

    @property
    def line_width(self) -> float:
        """Ink in mm across a straight line, all its passes."""
        return self.width * (self.passes + 1) / 2


class PensTable(Table):
    """The pens by what they draw."""

    lines: Pen = Field(default=Pen.model_construct(slot=1, width=1.0))
    heavy: Pen = Field(default=Pen.model_construct(slot=1, width=1.0, passes=2))
    numerals: Pen = Field(default=Pen.model_construct(slot=1, width=0.8))
    removable: Pen = Field(default=Pen.model_construct(slot=2, width=0.5))

    def named(self, name: str) -> Pen:
        """The pen a stroke names."""
        pen: Pen = getattr(self, name)
        return pen

    @property
    def by_name(self) -> dict[str, Pen]:
        """Every pen, by the name that strokes call it."""
        return dict(self)


class TapeTable(Table):
    """The tape that tape marks are set out with and the cover is proved with."""

    accuracy: Literal["I", "II", "III"] = Field(
        default="II", description="The accuracy class printed on the tape"
    )
    division: Length = Field(
        default=parse_length("1/32 in"), description="How finely the tape is read or set"
    )
    temperature_c: float = Field(
        default=20.0, ge=-30, le=60, description="Where it is used, in degrees Celsius"
    )
    scale_error: ScaleError = Field(
        default=0.0, description="True length over shown length, less 1, as measured at 20 C"
    )


class ReachTable(Table):
    """What an arm reaches, standing at a long edge."""

    depth: Length = Field(default=parse_length("30 in"), description="In from the edge")
    span: Length = Field(default=parse_length("48 in"), description="Along the edge without moving")
    speed: Speed = Field(default=60.0, description="How fast a hand draws a line along a rule")


PaperSize = Literal["letter", "a4"]


class PaperKeys(Table):
    """What sheets are printed on."""

    size: PaperSize | None = Field(
        default=None,
        description='"letter" or "a4"; left out, letter for inches and A4 for millimetres',
    )


class MarkingJob(Table):
    """Everything about the marking; `devices.job.Job` adds the machines."""

    schema_version: Literal[1] = Field(
        default=1, alias="schema", description="The version of this file's format"
    )
    title: Title = Field(
        default="Table cover", max_length=200, description="Printed on every sheet"
    )
    units: Units = Field(default="in", description="The unit that people see")
    tolerance: Length = Field(
        default=parse_length("1/16 in"), description="How far any finished line may lie from true"
    )
    table: TopTable
    grid: GridTable = GridTable.model_construct()
    hems: HemsTable = HemsTable.model_construct()
    numerals: NumeralsTable = NumeralsTable.model_construct()
    cloth: ClothTable = ClothTable.model_construct()
    cover: CoverTable = CoverTable.model_construct()
    pens: PensTable = PensTable.model_construct()
    tape: TapeTable = TapeTable.model_construct()
    reach: ReachTable = ReachTable.model_construct()
    allowed: AllowedTable = AllowedTable.model_construct()
    inking: InkingTable = InkingTable.model_construct()
    fence: FenceTable | None = Field(
        default=None,
        description="Only where there is one: a rail that the device is pushed against",
    )
    ways: WaysTable = WaysTable.model_construct()
    pace: PaceTable = PaceTable.model_construct()
    paper: PaperKeys = PaperKeys.model_construct()

    @property
    def numbered_sides(self) -> tuple[Literal["near", "far"], ...]:
        """The long sides that carry numerals: nobody stands at one against a wall."""
        return tuple(s for s in self.numerals.sides if s == "near" or not self.table.against_wall)


def tape_of(table: TapeTable) -> Tape:
    """The tape that a job names. An error that was measured is good to half a division in 3 m."""
    tape = Tape(
        table.accuracy,
        table.division,
        temperature=table.temperature_c,
        scale_error=table.scale_error,
    )
    return compared_to(tape) if table.scale_error else tape


def paper_of(job: MarkingJob) -> PaperSize:
    """The sheet that a job's pages are made for: as it says, or as its units are."""
    return job.paper.size or ("letter" if job.units == "in" else "a4")

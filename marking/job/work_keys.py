"""Keys about the work: what is allowed, what there is to work with, how long acts take.

None of them moves a line of the marking. Lengths in mm, times in seconds.
"""

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, field_validator

from marking.job.values import Clearance, Duration, Length, Run, Speed, Table
from marking.measures.durations import parse_duration
from marking.measures.lengths import parse_length


class AllowedTable(Table):
    """What a finished cover may show, in the trade's terms; what is left out follows tolerance."""

    total: Length | None = Field(
        default=None, description="How far any line may lie from where it counts to, from zero"
    )
    square: Length | None = Field(
        default=None, description="How far a cross line may lean, over 54 in of its length"
    )
    neighbours: Length | None = Field(
        default=None, description="How much the gap between two lines beside each other may err"
    )
    step: Length | None = Field(default=None, description="The largest step of a line at a join")


def _none_or_length(value: object) -> object:
    return None if value == "none" else value


class FenceTable(Table):
    """A straight rail clamped along a row of sections, which the device is pushed against."""

    length: Length = Field(description="How long the rail is")
    straight: Clearance = Field(default=0.3, description="How far from straight it may be")
    contact: Clearance = Field(
        default=0.07, description="How exactly the device comes to lie against it"
    )
    stops: Annotated[Clearance | None, BeforeValidator(_none_or_length)] = Field(
        default=0.1,
        description='How exactly a stop ends its travel along the rail, or "none": the place along '
        "it is then read from a mark",
    )


class InkingTable(Table):
    """How the ink gets there."""

    cross_lines: Literal["device", "ruled"] = Field(
        default="device",
        description="Whether the device inks cross lines whole, or their ends alone, between which "
        "they are ruled by hand",
    )
    drying: Duration = Field(
        default=parse_duration("2 min"),
        description="How long ink is left alone before a foot",
    )
    tried: Literal["ask", "first", "not asked"] = Field(
        default="ask",
        description="Whether it is asked before the first ink if it was tried that it stays, or "
        'waited for until that is kept: "first"',
    )


def _distinct(names: tuple[str, ...] | None) -> tuple[str, ...] | None:
    if names is not None and len(set(names)) != len(names):
        raise ValueError("it names one thing twice")
    return names


class WaysTable(Table):
    """Which machines are there, and the way chosen among those that `ways` lists."""

    have: Annotated[
        tuple[Literal["plotter", "projector"], ...] | None,
        AfterValidator(lambda v: v and _distinct(v)),
    ] = Field(default=None, description="What is there; what job.toml names, where it is left out")
    way: Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]{1,60}$")] | None = Field(
        default=None, description="The way chosen, by its name in the table of ways"
    )


class PaceTable(Table):
    """How long a person takes, act by act: our own assumptions, until the record knows better."""

    tick: Duration = Field(
        default=parse_duration("8 s"),
        description="A mark set with the tape lying along the edge",
    )
    mark_out: Duration = Field(
        default=parse_duration("80 s"),
        description="A mark set out on the cover, off the edges",
    )
    reading: Duration = Field(
        default=parse_duration("30 s"),
        description="The pen brought onto a mark by keys",
    )
    reading_typed: Duration = Field(
        default=parse_duration("50 s"),
        description="A reading written down and typed in",
    )
    set_down: Duration = Field(
        default=parse_duration("4.5 min"),
        description="A device of A3 or less set down by one",
    )
    set_down_by_two: Duration = Field(
        default=parse_duration("5 min"),
        description="A larger device set down, by two",
    )
    set_down_at_fence: Duration = Field(
        default=parse_duration("2 min"),
        description="A device moved on along a fence",
    )
    fence_moved: Duration = Field(
        default=parse_duration("15 min"),
        description="A fence moved, set true and clamped",
    )
    line_ruled: Duration = Field(
        default=parse_duration("80 s"),
        description="A line ruled alone, in two reaches",
    )
    line_ruled_by_two: Duration = Field(
        default=parse_duration("40 s"),
        description="A line ruled with a helper at the other end",
    )
    long_line_ruled: Duration = Field(
        default=parse_duration("3 min"),
        description="A long line ruled from end to end, the rule moved along",
    )
    line_traced: Duration = Field(
        default=parse_duration("80 s"),
        description="A line of light traced",
    )
    numeral_traced: Duration = Field(
        default=parse_duration("12 s"),
        description="A numeral of light traced",
    )
    numeral_stencilled: Duration = Field(
        default=parse_duration("22 s"),
        description="A numeral stencilled, or traced from a strip",
    )
    numeral_freehand: Duration = Field(
        default=parse_duration("10 s"),
        description="A numeral written freehand",
    )
    strip: Duration = Field(
        default=parse_duration("4 min"),
        description="A printed strip cut, laid to its marks and taped",
    )
    panel: Duration = Field(
        default=parse_duration("15 min"),
        description="A full-size printed panel laid to its marks over transfer paper",
    )
    cloth_loaded: Duration = Field(
        default=parse_duration("30 min"),
        description="Loose cloth squared to a thread and fed in, by two",
    )
    base_and_square: Duration = Field(
        default=parse_duration("40 min"),
        description="Base line and zero line struck, square to each other",
    )
    true_up: Duration = Field(
        default=parse_duration("15 min"),
        description="A projector moved and trued up over one section",
    )
    scrap_check: Duration = Field(
        default=parse_duration("45 min"),
        description="The plotter checked on scrap",
    )
    pen_change: Duration = Field(default=parse_duration("1 min"), description="Another pen put in")
    vernier: Duration = Field(
        default=parse_duration("20 s"),
        description="A vernier over a join read and written down",
    )
    cloth_measured: Duration = Field(
        default=parse_duration("15 min"),
        description="The stretch of the canvas measured on a piece of it",
    )
    proof_distance: Duration = Field(
        default=parse_duration("2 min"),
        description="A distance of the proof, by two",
    )
    first_time: Duration = Field(
        default=parse_duration("3 h"),
        description="What a first cover costs more",
    )
    draw_speed: Speed = Field(default=45.0, description="How fast ink takes on canvas")
    tip: Run = Field(default=100_000.0, description="Line that a marker's tip lasts")


_LEAST_SHEET = 300.0
"""mm: a board with a shorter side is an offcut, and no sheet as sold."""


class CoverTable(Table):
    """What lies on the top, and how the canvas over it is held; common practice, no source."""

    thickness: Length = Field(
        default=parse_length("1 1/2 in"),
        description="What the canvas goes down by: the top with its underlay and pad",
    )
    fastened: Literal["underneath", "side"] = Field(
        default="underneath", description="Where the staples go: under the top, or into its side"
    )
    wrap: Length = Field(
        default=parse_length("4 in"),
        description="Canvas beyond that, to pull by, to staple and to cut back",
    )
    widths: Annotated[tuple[Length, ...], Field(min_length=1, max_length=50)] = Field(
        default=tuple(parse_length(f"{width} in") for width in (36, 48, 60, 72, 84, 96, 120)),
        description="The widths that canvas is sold in",
    )
    staple_spacing: Length = Field(
        default=parse_length("1 1/2 in"), description="From one staple to the next"
    )
    sheet: tuple[Length, Length] = Field(
        default=(parse_length("8 ft"), parse_length("4 ft")),
        description="Length and width of the sheets that the underlay is cut from",
    )

    @field_validator("sheet")
    @classmethod
    def _a_whole_sheet(cls, sheet: tuple[float, float]) -> tuple[float, float]:
        if min(sheet) < _LEAST_SHEET:
            raise ValueError(
                "a sheet with a side under 12 in (300 mm) is an offcut; write length and width as "
                'sold: ["8 ft", "4 ft"] or ["244 cm", "122 cm"]'
            )
        return sheet

"""A plotter as its profile declares it: bed, units, axes, instructions and paces.

It holds facts and the arithmetic of the bed frame; it knows no bytes and no port.
"""

from typing import Annotated, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from marking.job.values import IS_LENGTH, Clearance, Count, Length, ScaleError, Speed, Switch, Table
from marking.measures.lengths import parse_length
from marking.sections.footing import Footing
from marking.sections.zones import Corner, Zone, ZonePace

AxisDirection = Literal["+x", "-x", "+y", "-y"]
Instruction = Literal["IN", "IW", "SP", "VS", "FS", "PA", "PU", "PD"]
Handshake = Literal["xonxoff", "rtscts", "dtrdsr", "space", "barrier", "timed"]
_QUARTER: dict[AxisDirection, AxisDirection] = {"+x": "+y", "+y": "-x", "-x": "-y", "-y": "+x"}
"""Table directions turned a quarter anticlockwise."""
_TOWARDS: dict[AxisDirection, str] = {
    "+x": "far end",
    "-x": "zero end",
    "+y": "far edge",
    "-y": "near edge",
}
PenWord = Annotated[str, StringConstraints(pattern=r"^[ZS]-?\d{1,5}(\.\d{1,3})?$")]
"""Where a gantry's pen is: a height `Z4`, or a spindle value `S30` for a servo."""


_FEWEST_FEET = 3
_HAIR = 1e-6
"""mm that arithmetic may add to a foot's place."""


def _unlimited(value: object) -> object:
    return None if value == "unlimited" else value


def _parse_offset(text: object) -> float:
    if isinstance(text, str) and text.lstrip().startswith("-"):
        return -parse_length(text.lstrip()[1:])
    return parse_length(text)


Offset = Annotated[float, BeforeValidator(_parse_offset), IS_LENGTH]
"""Millimetres either way from zero, from text with a unit."""
Around = tuple[Clearance, Clearance]


def _corners(value: object) -> object:
    if isinstance(value, str) and value != "corners":
        raise ValueError(
            'give "corners", or the middle of each foot, such as [["-40 mm", "-40 mm"], '
            '["440 mm", "-40 mm"], ["200 mm", "320 mm"]]'
        )
    return None if value == "corners" else value


Feet = Annotated[
    tuple[tuple[Offset, Offset], ...] | None,
    Field(max_length=12),
    BeforeValidator(_corners),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": "corners"},
                {
                    "type": "array",
                    "maxItems": 12,
                    "items": {
                        "type": "array",
                        "items": {"type": "string"},
                        "minItems": 2,
                        "maxItems": 2,
                    },
                },
            ]
        }
    ),
]
"""Places of feet; None for one in each corner, which then move with the sizes of the bed."""


class Plotter(Table):
    """A pen plotter set down on the cover, or one that the loose canvas is drawn through."""

    name: str = Field(max_length=100, description="What people call it")
    kind: Literal["flat", "roll"] = Field(
        default="flat",
        description="A flat bed set down on the cover, or a carriage that the loose canvas is fed "
        "through before it is stretched on",
    )
    stands: Literal["on-cover", "cloth-through"] | None = Field(
        default=None,
        description="An open frame that stands on the cover and inks what lies inside it, or a "
        "machine with a bed or a carriage of its own, which loose canvas is drawn through before "
        "it is stretched on. Left out, a flat bed is taken for the first; a roll is the second, "
        "whatever frame the profile that it is told beside has",
    )
    beyond_x: Around = Field(
        default=(0.0, 0.0),
        description="An open frame: how far it stands out beyond its reach, before the least X "
        "and after the greatest",
    )
    beyond_y: Around = Field(
        default=(0.0, 0.0), description="The same, before the least Y and after the greatest"
    )
    feet: Feet = Field(
        default=(),
        description='Where its feet stand: "corners" for one in each corner of its outer size, or '
        "the middle of each in its own X and Y, counted from the corner of its reach where both "
        "are least; left out, they are not known",
    )
    foot: Length = Field(default=30.0, description="How wide a foot is, taken for square")
    weight_kg: float = Field(
        default=0.0, ge=0, le=500, description="What it weighs, in kg; 0 if not known"
    )
    dialect: Literal["hpgl", "gcode"] = Field(
        default="hpgl", description="The language it is driven in"
    )
    unit: Length = Field(default=0.025, description="Size of one plotter unit")
    x_size: Annotated[Length | None, BeforeValidator(_unlimited)] = Field(
        description='Usable travel along the device\'s X; a roll may say "unlimited"'
    )
    y_size: Length = Field(description="Usable travel along the device's Y")
    cloth_width: Length | None = Field(
        default=None,
        description="A machine that cloth is drawn through: the widest cloth that its carriage, or "
        "the opening over its bed, takes; y_size if not given",
    )
    origin: Literal["corner", "centre"] = Field(
        default="corner", description="Where the device counts from"
    )
    axes: tuple[AxisDirection, AxisDirection] = Field(
        default=("+x", "+y"), description="Table directions of the device's +X and +Y"
    )
    coordinate_limit: Count = Field(
        default=32767, ge=1000, le=2**30, description="Largest coordinate it takes, in units"
    )
    set_down: Clearance = Field(
        default=2.0, description="How closely a person sets it down; kept free round every window"
    )
    instructions: tuple[Instruction, ...] = Field(
        default=("IN", "SP", "PA", "PU", "PD"), description="What the machine understands"
    )
    slots: Count = Field(default=1, ge=1, le=16, description="Pens it can hold")
    speeds: tuple[Count, Count] = Field(default=(1, 38), description="Least and most VS, in cm/s")
    forces: tuple[Count, Count] = Field(default=(1, 8), description="Least and most FS step")
    draw_speed: Speed = Field(default=100.0, description="Fastest it draws well on cloth")
    travel_speed: Speed = Field(default=250.0, description="With the pen up")
    lift_seconds: float = Field(default=0.2, ge=0, le=10, description="To raise and lower the pen")
    buffer_bytes: Count = Field(default=1024, ge=1, description="Input buffer")
    longest_instruction: Count = Field(
        default=512, ge=24, description="Longest instruction it accepts, in bytes"
    )
    baud: Count = Field(default=9600, ge=75, description="Serial speed")
    handshake: Handshake = Field(
        default="barrier", description='How it says that it is full; "timed" if it never answers'
    )
    pen_up: PenWord = Field(default="Z4", description="G-code: the raised pen, as Z or S")
    pen_down: PenWord = Field(default="Z0", description="G-code: the lowered pen, as Z or S")
    power_up: Literal["finds its corner", "counts from where it stands"] = Field(
        default="counts from where it stands",
        description="HP-GL, a flat bed: whether it finds its corner by itself when it is switched "
        "on. One that does not is shown to stand at its place by marks after every restart",
    )
    scale_doubt: ScaleError = Field(
        default=3e-4, description="How true it draws along either axis, where no trial is kept"
    )
    pointer_doubt: Clearance = Field(
        default=0.05, description="How far what reads marks may stand from the pen that inks"
    )
    homes: Switch = Field(default=False, description="G-code: it has limit switches to home on")

    @model_validator(mode="after")
    def _is_a_machine(self) -> Self:
        if {self.axes[0][1], self.axes[1][1]} != {"x", "y"}:
            raise ValueError(
                f'axes = {list(self.axes)} are one line; give one of each: ["+x", "+y"]'
            )
        if self.cloth_width is not None and self.on_cover:
            raise ValueError(
                'cloth_width is for a machine that cloth is drawn through: kind = "roll", or '
                'stands = "cloth-through"; this one stands on the cover'
            )
        if (
            self.kind == "flat"
            and not self.on_cover
            and (self.feet != () or any((*self.beyond_x, *self.beyond_y)))
        ):
            raise ValueError(
                'feet, beyond_x and beyond_y are for stands = "on-cover"; this one does not stand '
                'on the cover: leave them out, or tell what differs beside profile = "desk-a3"'
            )
        if self.on_cover:
            self._check_feet()
        missing = {"PA", "PU", "PD"} - set(self.instructions)
        if missing:
            raise ValueError(
                f"instructions lack {', '.join(sorted(missing))}; no pen plots without"
            )
        if self.x_size is None and self.kind == "flat":
            raise ValueError('x_size = "unlimited" is for kind = "roll"; a flat bed has an end')
        if self.longest_instruction > self.buffer_bytes:
            raise ValueError(
                f"longest_instruction = {self.longest_instruction} does not fit into "
                f"buffer_bytes = {self.buffer_bytes}"
            )
        if self.dialect == "gcode" and self.handshake not in ("barrier", "timed"):
            raise ValueError(
                f'handshake = "{self.handshake}" is for dialect = "hpgl"; a G-code machine '
                'acknowledges each line: give "barrier", or "timed" if it never answers'
            )
        if self.slots > 1 and not self.changes_pens:
            raise ValueError(_one_holder(self))
        if self.pen_up[0] != self.pen_down[0] or self.pen_up == self.pen_down:
            raise ValueError(
                f'pen_up = "{self.pen_up}" and pen_down = "{self.pen_down}": give two different '
                "values of the same word, both Z or both S"
            )
        for name, (least, most) in (("speeds", self.speeds), ("forces", self.forces)):
            if not 0 < least <= most:
                raise ValueError(f"{name} = [{least}, {most}]: give the least first, from 1 up")
        return self

    def _check_feet(self) -> None:
        """Raises ValueError for a foot that stands under the pen or outside the machine."""
        if 0 < len(self.foot_places) < _FEWEST_FEET:
            raise ValueError(
                f"feet: {len(self.foot_places)} given; an open frame stands on {_FEWEST_FEET} "
                'or more: give each, or "corners"'
            )
        low, high = self._outer
        for number, (x, y) in enumerate(self.foot_places, 1):
            half = self.foot / 2
            inside = all(
                least + half <= at + _HAIR and at <= most - half + _HAIR
                for at, least, most in zip((x, y), low, high, strict=True)
            )
            if not inside:
                raise ValueError(
                    f"foot {number} at {x:g}, {y:g} mm, {self.foot:g} mm wide, stands outside its "
                    f"outer size, which goes from {low[0]:g}, {low[1]:g} to {high[0]:g}, "
                    f"{high[1]:g} mm; give a larger beyond_x or beyond_y, or another place"
                )
            size = (self.x_size or 0.0, self.y_size)
            if all(
                -half + _HAIR < at < most + half - _HAIR
                for at, most in zip((x, y), size, strict=True)
            ):
                raise ValueError(
                    f"foot {number} at {x:g}, {y:g} mm, {self.foot:g} mm wide, stands within its "
                    f"reach, which goes from 0, 0 to {size[0]:g}, {size[1]:g} mm: the pen would "
                    f"run into it. Give beyond_x or beyond_y of {self.foot:g} mm or more on that "
                    "side"
                )

    @property
    def _outer(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The corners of its outer size where X and Y are least and greatest, mm."""
        low = -self.beyond_x[0], -self.beyond_y[0]
        return low, ((self.x_size or 0.0) + self.beyond_x[1], self.y_size + self.beyond_y[1])

    @property
    def foot_places(self) -> tuple[tuple[float, float], ...]:
        """The middle of each foot, mm in its own X and Y from the corner where both are least."""
        if self.feet is not None:
            return self.feet
        (x0, y0), (x1, y1) = self._outer
        half = self.foot / 2
        x0, y0, x1, y1 = x0 + half, y0 + half, x1 - half, y1 - half
        return (x0, y0), (x1, y0), (x1, y1), (x0, y1)

    @property
    def footing(self) -> Footing | None:
        """What stands round its reach, as its profile has it; None where cloth is drawn through."""
        if not self.on_cover:
            return None
        # A bed may be longer than its coordinates can say: what they reach begins at its corner,
        # or lies in its middle, where the device counts from.
        size = (self.x_size or 0.0, self.y_size)
        middle = [
            (reach if self.origin == "corner" else whole) / 2
            for reach, whole in zip(self.bed_size, size, strict=True)
        ]
        signs = [1.0 if axis[0] == "+" else -1.0 for axis in self.axes]
        feet = []
        for place in self.foot_places:
            at = {"x": 0.0, "y": 0.0}
            for axis, sign, own, half in zip(self.axes, signs, place, middle, strict=True):
                at[axis[1]] = sign * (own - half)
            feet.append((at["x"], at["y"]))
        return Footing(tuple(feet), self.foot, self.weight_kg)

    @property
    def on_cover(self) -> bool:
        """Whether it stands on the cover as an open frame; else loose canvas is drawn through."""
        return self.kind == "flat" and self.stands != "cloth-through"

    @property
    def changes_pens(self) -> bool:
        """Whether a program can tell it to take another pen. One that cannot has one holder."""
        return self.dialect == "hpgl" and "SP" in self.instructions

    @property
    def finds_corner(self) -> bool:
        """Whether switching it off and on leaves its coordinates as they were, unasked."""
        return (self.dialect, self.kind, self.power_up) == ("hpgl", "flat", "finds its corner")

    @property
    def bed_size(self) -> tuple[float, float]:
        """Usable travel along device X and Y in mm, within what coordinates can say."""
        span = (1 if self.origin == "corner" else 2) * self.coordinate_limit * self.unit
        return min(self.x_size or span, span), min(self.y_size, span)

    @property
    def window_size(self) -> tuple[float, float]:
        """The bed's size along the table's x and y, in mm."""
        along_x, along_y = self.bed_size
        return (along_x, along_y) if self.axes[0][1] == "x" else (along_y, along_x)

    def standing(self, *, turned: bool) -> Self:
        """This plotter as it stands at a section: as its profile has it, or turned a quarter.

        Anticlockwise, seen from above: what pointed along the table then points across it.
        """
        if not turned:
            return self
        x, y = (_QUARTER[axis] for axis in self.axes)
        return self.model_copy(update={"axes": (x, y)})

    def pointing(self, *, turned: bool) -> str:
        """Where its own X and Y point when it stands at the table, in words."""
        x, y = (_TOWARDS[axis] for axis in self.standing(turned=turned).axes)
        return f"its X towards the {x} and its Y towards the {y}"

    @property
    def zone(self) -> Zone:
        """What one set-down of this plotter reaches."""
        feed: Literal[0, 1] | None = None
        if not self.on_cover:
            feed = 0 if self.axes[0][1] == "x" else 1
        return Zone(
            "plotter",
            self.window_size,
            self.set_down,
            False,
            ZonePace(self.draw_speed, self.travel_speed, self.lift_seconds),
            self._home,
            feed,
            widest_cloth=self.widest_cloth,
            turned_home=self.standing(turned=True)._home,
            own_bed=self.kind == "flat" and not self.on_cover,
            footing=self.footing,
        )

    @property
    def _home(self) -> Corner:
        """The corner of the window where both its coordinates are least."""
        signs = {axis[1]: axis[0] for axis in self.axes}
        return 0 if signs["x"] == "+" else 1, 0 if signs["y"] == "+" else 1

    @property
    def widest_cloth(self) -> float | None:
        """The widest cloth that is drawn through it, in mm; None where it stands on the cover."""
        return None if self.on_cover else self.cloth_width or self.y_size


def _one_holder(plotter: Plotter) -> str:
    """Why a machine that cannot change pens by itself has one holder, and what would do."""
    if plotter.dialect == "gcode":
        why = "a G-code machine has one pen holder, and no program changes its pen"
    else:
        why = 'without "SP" among its instructions no program changes its pen'
    return (
        f"slots = {plotter.slots}: {why}; all would be drawn with the pen that is in it. Give "
        "slots = 1, and slot = 1 to every pen: drive then asks for each pen in its turn"
    )

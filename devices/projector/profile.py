"""What a projector profile may say: a projector as data."""

from typing import Annotated, Literal

from pydantic import Field

from marking.job.values import Clearance, Count, Length, Table

PixelCount = Annotated[Count, Field(ge=100, le=20_000)]


class Projector(Table):
    """A projector over the table: its picture and where it hangs."""

    name: str = Field(max_length=100, description="What people call it")
    pixels: tuple[PixelCount, PixelCount] = Field(description="Native resolution, across and down")
    throw_ratio: float = Field(gt=0, le=20, description="Distance over picture width")
    offset: float = Field(
        default=0.0, ge=-2, le=2, description="Picture shift from the lens axis, in picture heights"
    )
    distance: Length = Field(description="Lens to the cover")
    lumens: float = Field(gt=0, description="Light output as its maker states it")
    picture_width: Length | None = Field(
        default=None,
        description="The picture's width as measured on the cover, through its middle; "
        "then the throw ratio is not used",
    )
    tilt: float = Field(
        default=0.0,
        ge=-45,
        le=45,
        description="Degrees the lens leans towards the picture's top edge; 0 looks straight down",
    )
    turn: Literal[0, 90, 180, 270] = Field(
        default=0,
        description="Degrees the picture is turned on the table, counter-clockwise; at 0 its "
        "top edge lies towards the far edge",
    )
    set_down: Clearance = Field(
        default=25.0, description="How closely the picture is brought to its place; kept free"
    )

"""What a projector profile may say; a projector is data here, no more."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from marking.job import Count, Length, Table

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

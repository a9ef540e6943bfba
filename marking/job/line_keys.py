"""Keys for particular work: the named long lines of `[grid]`, and a scale in another unit."""

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from marking.job.values import Clearance, Count, Length, Table


class LineTable(Table):
    """A long line at a given distance, with its number at the ends."""

    at: Length = Field(description="From where its side's hems are counted")
    side: Literal["near", "far"] = Field(
        default="near", description="The side it is counted from and read from"
    )
    name: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9 ./]{1,12}$")] | None = Field(
        default=None, description="What stands at its ends, where it is not the distance"
    )
    start: Clearance = Field(default=0.0, description="Where it begins, from the zero line")
    end: Length | None = Field(
        default=None, description="Where it ends, from the zero line; at the last cross line"
    )

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.end is not None and self.end <= self.start:
            raise ValueError("it ends before it begins: end is to be more than start")
        return self


class OtherUnitKeys(Table):
    """A side whose margin counts centimetres where the job has inches, or inches where it has
    millimetres."""

    other_unit: Literal["none", "near", "far"] = Field(
        default="none",
        description="The side that carries a scale in the other unit in place of its numerals",
    )
    other_every: Literal["auto"] | Annotated[Count, Field(ge=1, le=1000)] = Field(
        default="auto",
        description='A numeral at every n-th tick of that scale; "auto": 5, or 10 where larger '
        "ones fit then",
    )

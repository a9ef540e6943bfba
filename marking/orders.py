"""In which orders a plan's sections may be inked. It knows rows and columns, nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from marking.sections import Plan, Section

OrderName = Literal["near to far", "outer rows first", "column by column"]
ORDERS: tuple[OrderName, ...] = ("near to far", "outer rows first", "column by column")


def inking_order(plan: Plan, name: OrderName) -> tuple[str, ...]:
    """Section ids of `plan` in the order called `name`; "near to far" is the plan's own."""
    if name == "near to far":
        return tuple(section.id for section in plan.sections)
    last = plan.rows

    def outer(section: Section) -> tuple[int, int, int]:
        from_edge = min(section.row - 1, last - section.row)
        return from_edge, section.row, section.column

    def column(section: Section) -> tuple[int, int, int]:
        return section.column, section.row, 0

    key = outer if name == "outer rows first" else column
    return tuple(section.id for section in sorted(plan.sections, key=key))

"""Which holder of the machine each pen stands in: one that is not there, one for pens that differ.

It knows a plotter's holders and pens by name; no bytes, and not when a person changes a pen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen, PensTable


def check_holders(used: Mapping[str, Pen], plotter: Plotter) -> None:
    """Raises RefusedError when a pen, by the name people know it by, has no holder there.

    A machine that cannot change pens would draw it with the pen that it holds.
    """
    for name, pen in used.items():
        if pen.slot <= plotter.slots:
            continue
        if plotter.changes_pens:
            raise RefusedError(
                f"pens.{name}.slot = {pen.slot}: {plotter.name} has {plotter.slots} pen "
                f"holder{'s' if plotter.slots > 1 else ''}; give a slot it has"
            )
        raise RefusedError(
            f"pens.{name}.slot = {pen.slot}: {plotter.name} has one pen holder and cannot change "
            "pens by itself; nothing was written or drawn. Give slot = 1: drive then stops and "
            "asks for this pen, and write puts a removable pen's strokes into files of their own"
        )


def shared_holder_warnings(used: Iterable[str], pens: PensTable, plotter: Plotter) -> Iterator[str]:
    """Of inks that are to differ in width and come from one holder, which one pen draws.

    A run asks for the removable pen in a holder that ink shares, and never for another ink.
    """
    inks = {name: pen for name, pen in pens.by_name.items() if name in {*used} - {"removable"}}
    for slot in sorted({pen.slot for pen in inks.values()}):
        here = {name: pen.width for name, pen in inks.items() if pen.slot == slot}
        if len({round(width, 6) for width in here.values()}) == 1:
            continue
        widths = ", ".join(f"pens.{name}.width = {width:g} mm" for name, width in here.items())
        said = (
            f"One pen draws all that is inked from holder {slot}, and nobody is asked to change "
            f"it: {widths}."
        )
        if plotter.slots == 1:
            yield f"{said} Give them one width: this plotter has one holder."
        else:
            first, *_ = here.values()
            slots = ", ".join(f"pens.{name}.slot" for name, one in here.items() if one != first)
            yield f"{said} Give them one width, or a holder of its own to what differs: {slots}."

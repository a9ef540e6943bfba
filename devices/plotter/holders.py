"""Which holder of the machine each pen stands in, and the refusal of one that is not there.

It knows a plotter's holders and pens by name; no bytes, and not when a person changes a pen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen


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

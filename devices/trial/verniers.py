"""The verniers of the scrap sheet as a person reads them: play, and pens that lie apart.

It knows the sheet and readings of it in mm along the bed's axes; nothing corrects what they tell.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.trial.sheet import VERNIER_DIVISIONS
from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from devices.trial.sheet import ScrapSheet

SEEN = 0.15
"""mm: to the nearest tenth, by eye, a reading of more is the machine's; our own figure."""
_HAIR = 1e-9


def read_verniers(shown: Mapping[str, float], sheet: ScrapSheet) -> dict[str, float]:
    """Those of the figures `shown` that are readings of the sheet's verniers, in mm.

    Raises BadInputError for one that its scales cannot tell.
    """
    found, faults = {}, []
    for one in sheet.verniers:
        if one.name not in shown:
            continue
        most = one.misfit(VERNIER_DIVISIONS // 2)
        if abs(shown[one.name]) > most + _HAIR:
            faults.append(
                f"{one.name} = {shown[one.name]:g} mm: its vernier tells up to {most:g} mm either "
                "way. Look which lines meet, counted from the long ones in the middle, towards + "
                f"or away from it; each is {one.misfit(1):g} mm"
            )
        found[one.name] = shown[one.name]
    if faults:
        raise BadInputError(*faults)
    return found


def vernier_lines(read: Mapping[str, float]) -> Iterator[str]:
    """What readings by vernier say of the machine, in words."""
    for name, misfit in read.items():
        axis = name[-1]
        small = abs(misfit) <= SEEN
        if name.startswith("P"):
            said = f"The numerals pen draws {misfit:+.2f} mm off the lines pen along {axis}"
            what = "as near as the eye tells" if small else "so numerals stand that much off"
        else:
            said = f"Play along {axis} {misfit:+.2f} mm, between lines come upon from either side"
            what = (
                "no more than the eye tells" if small else "a worn or slack drive, or loose cloth"
            )
        advice = "" if small else ". No correction takes it out: mend it, and draw the sheet again"
        yield f"{said}: {what}{advice}."

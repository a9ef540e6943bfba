"""The scrap sheet in words and as JSON: what to measure on it, and what to look at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from devices.plotter.correction import RUNS
from marking.measures.tape import as_taped

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from devices.trial.sheet import ScrapSheet
    from marking.job.keys import PensTable
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape


def sheet_record(sheet: ScrapSheet) -> dict[str, Any]:
    """`trial --json`, without the file."""
    side = sheet.side
    return {
        "side": side,
        "runs": {run: side * (2**0.5 if run in ("AC", "BD") else 1.0) for run in RUNS},
        "verniers": [
            {"name": one.name, "axis": "XY"[one.axis], "pitch": one.pitch, "question": one.question}
            for one in sheet.verniers
        ],
    }


def sheet_lines(
    sheet: ScrapSheet, pens: PensTable, tape: Tape, units: Units, path: Path
) -> Iterator[str]:
    """What to measure on the sheet plotted from `path`, a file in the output of the job."""
    yield f"{path}: plot it on scrap of the same canvas, with the cloth held down as on the table"
    yield ""
    yield "Measure to the middle of the lines, taut and flat, and write down what the tape shows:"
    yield ""
    yield "[measured]"
    for run, length in sheet_record(sheet)["runs"].items():
        yield f'{run} = "..."   # near {as_taped(length, tape, units)}'
    yield ""
    yield "A is at the device's zero, B along its X, D along its Y. Verniers, read by eye: count"
    yield "from the middle to where both scales draw one line; a tenth of the pitch for each."
    for one in sheet.verniers:
        yield f"  {one.name}: {one.pitch / 10:.2f} mm a division, {one.question}"
    yield 'Write those that were read beside the runs, counting up towards the +: X = "0.25 mm"'
    yield "The samples show each pen, at its speed and at half of it: take what reads best."
    removable = pens.removable.slot
    if removable in (pens.lines.slot, pens.heavy.slot, pens.numerals.slot):
        yield f"Holder {removable} takes the removable pen too, and no file waits for a change: to"
        yield "see its sample, R, plot the sheet once more with that pen in it, on other scrap."
    yield ""
    yield "Keep fingers, hair and sleeves clear of the plotter, and know how to stop it."
    yield f'Then: canvasrule trial --job "{path.parent.parent}" --measured FILE'

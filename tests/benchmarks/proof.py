"""Prints how often the proof of a finished cover is wrong, on covers whose errors are known.

    python -m tests.benchmarks.proof [COVERS]

200 covers of each kind unless given; seeds are fixed, so the same figures come out every time.
Covers and tape are `covers`, which shares no code with the proof. `told` is how often the worst
line's true error lies within the two limits told; each holds at least 95 times in 100, both at
least 90. `PASS!` is a pass of a cover with a line past the tolerance, `FAIL!` a failure of one
without. The last lines are the 95 % figures of stretch and skew, which hold 93 to 97 in 100.
"""

import sys

import numpy as np

from marking.measures.tape import Tape
from marking.proof.distances import plan_proof
from marking.proof.verdict import TWO_SIDED, prove
from tests.placement.inking import millrace
from tests.proof.covers import cover_of, knocked, taped

TOLERANCE = 25.4 / 16
LONG_BED = 'x_size = "154 in"\ny_size = "34 in"\ncoordinate_limit = 8388607\n'


def kinds(layout, plan, rng):
    """What can have become of a cover, by what it is called: functions that draw one."""
    names = [section.id for section in plan.sections]
    x, lines = layout.grid.cross_x, layout.grid.long_lines
    length, width = x[-1] - x[0], lines[-1].y - lines[0].y

    def drawn(scatter=0.0, slips=0, slip=0.0, **whole):
        return cover_of(layout, plan, poses=knocked(rng, names, scatter, slips, slip), **whole)

    def anything():
        return drawn(
            rng.uniform(0, 0.4),
            int(rng.integers(0, 3)) % (len(names) + 1),
            rng.uniform(1, 6),
            stretch=tuple(rng.normal(0, 1.0, 2) / (length, width)),
            lean=rng.normal(0, 1.0),
        )

    found = {"true": lambda: cover_of(layout, plan), "scatter 0.2 mm": lambda: drawn(0.2)}
    for off in (1.7, 2.8, 4.0):
        found[f"stretched by {off} mm"] = lambda off=off: drawn(stretch=(off / length, 0.0))
        found[f"leaning by {off} mm"] = lambda off=off: drawn(lean=off)
    for off in (2.0, 3.0, 5.0, 8.0):
        found[f"one section slipped {off} mm"] = lambda off=off: drawn(0.2, 1, off)
    return {**found, "anything": anything}


def row(what, covers, sheet, rng):
    passed = failed = told = bad = good = 0
    for cover in covers:
        verdict = prove(sheet, taped(cover, sheet, rng), Tape(), TOLERANCE)
        limits, past = verdict.worst_line.limits, cover.worst > TOLERANCE
        told += limits.at_least <= cover.worst <= limits.at_most
        bad, good = bad + past, good + (not past)
        passed += past and verdict.outcome == "pass"
        failed += not past and verdict.outcome == "fail"
    shares = [f"{n / of:6.1%}" if of else "     -" for n, of in ((passed, bad), (failed, good))]
    told /= len(covers)
    right = passed <= 0.05 * bad + 2 and failed <= 0.01 * good + 2 and told >= 0.9
    print(
        f"  {what:<28} past {bad:5}  PASS! {shares[0]}  FAIL! {shares[1]}  told {told:6.1%}"
        f"   {'ok' if right else 'MISSED'}"
    )


def figures(layout, plan, sheet, count, rng):
    """The 95 % figures of stretch and skew, where nothing else is wrong."""
    x, lines = layout.grid.cross_x, layout.grid.long_lines
    length, width = x[-1] - x[0], lines[-1].y - lines[0].y
    held = []
    for _ in range(count):
        true = dict(zip(("along", "across", "skew"), rng.normal(0, 2, 3), strict=True))
        cover = cover_of(
            layout,
            plan,
            stretch=(true["along"] / length, true["across"] / width),
            lean=true["skew"],
        )
        whole = prove(sheet, taped(cover, sheet, rng), Tape(), TOLERANCE).whole
        held.append([abs(whole[n].value - true[n]) <= TWO_SIDED * whole[n].sd for n in true])
    for name, share in zip(("along", "across", "skew"), np.mean(held, axis=0), strict=True):
        ok = 0.93 - 0.02 <= share <= 0.97 + 0.02
        print(f"  {name:<28} holds {share:6.1%}   {'ok' if ok else 'MISSED'}")


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for bed, keys in (("a long bed", LONG_BED), ("24 x 36 in", "")):
        layout, plan = millrace("flatbed-24x36", keys)
        sheet = plan_proof(layout, plan, Tape(), TOLERANCE, "in")
        print(f"{bed}: {len(plan.sections)} sections, {len(sheet.distances)} distances")
        rng = np.random.default_rng(7)
        for what, draw in kinds(layout, plan, rng).items():
            row(what, [draw() for _ in range(count)], sheet, rng)
        figures(layout, plan, sheet, count, rng)


if __name__ == "__main__":
    main()

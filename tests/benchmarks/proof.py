"""Prints how often the proof of a finished cover is wrong, on covers whose errors are known.

    python -m tests.benchmarks.proof [COVERS]

100 covers of each kind unless given; seeds are fixed, so the same figures come out every time.
Covers, tape and verniers are `covers`, which shares no code with the proof. `told` is how often a
limit's true figure lies within the two told; each holds at least 95 times in 100, both at least
90. `PASS!` is a pass of a cover that breaks a limit, `FAIL!` a failure of one that keeps them. The
last lines of each are the 95 % figures of stretch and skew, which hold 93 to 97 in 100.
"""

import sys

import numpy as np

from marking.measures.tape import Tape
from marking.proof.distances import plan_proof
from marking.proof.distortion import distortion_of
from marking.proof.limits import Limit, within
from marking.proof.verdict import TWO_SIDED, prove
from marking.proof.verniers import steps_read, verniers_over
from tests.placement.inking import millrace
from tests.proof.covers import cover_of, knocked, taped

TOLERANCE = 25.4 / 16
LIMITS = within(TOLERANCE)
TRADE = (
    Limit("total", 25.4 / 8),
    Limit("square", TOLERANCE, over=54 * 25.4),
    Limit("neighbours", 25.4 / 32),
    Limit("step", 1.0),
    Limit("straight", 25.4 / 8),
)
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


def row(what, covers, sheet, limits, rng):
    over = next(limit.over for limit in limits if limit.name == "square")
    passed = failed = bad = good = 0
    told = []
    for cover in covers:
        verdict = prove(sheet, taped(cover, sheet, rng), Tape(), limits)
        true = cover.figures(over)
        told += [
            one.limits.at_least <= true[one.limit.name] + 1e-3
            and true[one.limit.name] <= one.limits.at_most + 1e-3
            for one in verdict.limits
        ]
        past = any(true[one.name] > one.allowed + 1e-3 for one in limits if one.asked)
        bad, good = bad + past, good + (not past)
        passed += past and verdict.outcome == "pass"
        failed += not past and verdict.outcome == "fail"
    shares = [f"{n / of:6.1%}" if of else "     -" for n, of in ((passed, bad), (failed, good))]
    told = np.mean(told)
    right = passed <= 0.05 * bad + 2 and failed <= 0.01 * good + 2 and told >= 0.9
    print(
        f"  {what:<28} past {bad:5}  PASS! {shares[0]}  FAIL! {shares[1]}  told {told:6.1%}"
        f"   {'ok' if right else 'MISSED'}",
        flush=True,
    )


def figures(layout, plan, sheet, limits, count, rng):
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
        whole = prove(sheet, taped(cover, sheet, rng), Tape(), limits).whole
        held.append([abs(whole[n].value - true[n]) <= TWO_SIDED * whole[n].sd for n in true])
    for name, share in zip(("along", "across", "skew"), np.mean(held, axis=0), strict=True):
        ok = 0.93 - 0.02 <= share <= 0.97 + 0.02
        print(f"  {name:<28} holds {share:6.1%}   {'ok' if ok else 'MISSED'}")


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for bed, profile, keys, limits, verniers in (
        ("a long bed by tape", "flatbed-24x36", LONG_BED, LIMITS, False),
        ("24 x 36 in by tape", "flatbed-24x36", "", LIMITS, False),
        ("24 x 36 in with verniers", "flatbed-24x36", "", TRADE, True),
        ("A3 with verniers", "flatbed-a3", "", TRADE, True),
    ):
        layout, plan = millrace(profile, keys)
        model = distortion_of(layout, plan)
        drawn = verniers_over(plan, model, 0.5) if verniers else ()
        sheet = plan_proof(layout, plan, Tape(), limits, "in", steps=steps_read(model, drawn))
        print(
            f"{bed}: {len(plan.sections)} sections, {len(sheet.distances)} distances, "
            f"{len(drawn)} verniers"
        )
        rng = np.random.default_rng(7)
        for what, draw in kinds(layout, plan, rng).items():
            row(what, [draw() for _ in range(count)], sheet, limits, rng)
        figures(layout, plan, sheet, limits, count, rng)


if __name__ == "__main__":
    main()

"""Prints how often a 3 mm slip in a reading that `control` asks for is named, and falsely.

    python -m tests.benchmarks.slips [RUNS]

On the Millrace bench, with an A3 and a 24 x 36 in, without a fence and with one, marks chosen for
`tolerance = "1/16 in"` and for the limits of the trade: each section that reads anything is read
RUNS times (20) without a slip and RUNS times with one in a reading taken at random. A slip is to be
named 99 times in 100, at once or, where it may be one of two as well, once these are read once more
as the program then asks; and good readings doubted once in 100. What the counts may be by chance is
the binomial distribution's, two-sided 95 in 100 (Clopper and Pearson, from scipy).
"""

import sys

from scipy.stats import binomtest

from marking.measures.tape import Tape
from marking.network.error_model import ErrorModel
from marking.tape_marks.choice import Task, least_work
from tests.benchmarks.marks import ALLOWED, RAIL, STRICT, verdict
from tests.placement.inking import millrace
from tests.placement.slipping_asked import score_asked


def shown(count, of):
    """A share with what it may be."""
    low, high = binomtest(count, of).proportion_ci(0.95, "exact")
    return f"{100 * count / of:5.1f} % ({100 * low:.1f} to {100 * high:.1f})", low, high


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("slips of 3 mm in readings asked for: named (of them once two were read again); not")
    for profile in ("flatbed-a3", "flatbed-24x36"):
        layout, plan = millrace(profile)
        for fence in (None, RAIL):
            for limits, name in ((STRICT, "strict"), (ALLOWED, "allowed")):
                task = Task(layout, plan, Tape(), "in", limits, errors=ErrorModel(), fence=fence)
                done, _ = least_work(task, 1, lambda way: None)
                told = score_asked(task, done, runs)
                named, _, most = shown(told.named + told.again, told.slips)
                not_so = told.slips - told.named - told.again
                doubted, least, _ = shown(told.doubted, told.good)
                what = f"{profile}{' with a fence' if fence else ''}, {name}"
                print(
                    f"  {what:<38} {told.readings:3} readings, slip told {done.slip:.1f} mm; "
                    f"{told.slips:4}: {named}, {told.again} of them; {not_so}, {told.wrongly} put "
                    f"down to others   99   {verdict(most >= 0.99)}; falsely {doubted}   1   "
                    f"{verdict(least <= 0.01)}",
                    flush=True,
                )


if __name__ == "__main__":
    main()

"""Interruptions of all kinds, on the stock machines, with tape marks set out.

From the checkout:

    python -m tests.benchmarks.interruptions 500
    python -m tests.benchmarks.interruptions --seed 1 --only 17       one cover again, with all it
    said

Another checkout is tried with --checkout DIR (and --python, its interpreter).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tests.interruptions.forked import Terminal
from tests.interruptions.job_sheet import Sheet, prepared
from tests.interruptions.machine_models import MODELS, STOCK
from tests.interruptions.ordeal import Ordeal, Outcome

if TYPE_CHECKING:
    from collections.abc import Iterator

ENDS = 6
"""Ends of one cover."""
PACE = 60.0
HERE = Path(__file__).resolve().parents[2]


@dataclass
class Tried:
    """One cover's story."""

    number: int
    model: str
    outcomes: list[Outcome]
    log: list[str]


class Campaign:
    """Covers one after another, each from a seed of its own."""

    def __init__(
        self,
        folder: Path,
        checkout: Path,
        python: str,
        models: list[str],
        seed: int,
    ) -> None:
        self.folder, self.models, self.seed = folder, models, seed
        self.kinds: list[str] | None = None
        self.reads_once = False
        self.terminal = Terminal(checkout, folder, python)
        self._sheets: dict[str, Sheet] = {}

    def close(self) -> None:
        self.terminal.close()

    def cover(self, number: int, ends: int = ENDS, *, times_rests: bool = True) -> Tried:
        name = self.models[number % len(self.models)]
        model = MODELS[name]
        template = self.folder / f"template{list(MODELS).index(name)}"
        if name not in self._sheets:
            self._sheets[name] = prepared(model, template, self.terminal)
        one = Ordeal(
            model,
            self._sheets[name],
            template,
            self.folder / f"cover{number}",
            self.terminal,
            f"{self.seed} {number}",
        )
        one.reads_once, one.times_rests = self.reads_once, times_rests
        one.kinds = self.kinds or one.kinds
        try:
            one.run(ends, PACE)
        finally:
            one.close()
        return Tried(number, name, one.outcomes, one.log)


def campaign_of(options: argparse.Namespace, folder: Path) -> Campaign:
    """The campaign that was asked for."""
    models = options.model or list(MODELS if options.all_models else STOCK)
    one = Campaign(folder, options.checkout, options.python, models, options.seed)
    one.kinds, one.reads_once = options.kind, options.reads_once
    return one


def share(options: argparse.Namespace, worker: int, workers: int) -> Iterator[Tried]:
    """Every `workers`-th cover, until as many ends have come as this worker has to see."""
    with tempfile.TemporaryDirectory() as name:
        campaign = campaign_of(options, Path(name))
        try:
            number, seen = worker, 0
            while seen < options.ends / workers:
                tried = campaign.cover(number)
                report(tried, options.verbose)
                yield tried
                number += workers
                seen += max(len(tried.outcomes), 1)
        finally:
            campaign.close()


def report(tried: Tried, verbose: bool) -> None:
    faults = [
        f"{one.kind or 'no end'} [{one.at}]: {fault}"
        for one in tried.outcomes
        for fault in one.faults
    ]
    print(
        f"cover {tried.number} ({tried.model}): {len(tried.outcomes)} ends",
        *faults,
        sep="\n    ",
        flush=True,
    )
    if verbose:
        print(*tried.log, sep="\n----\n", flush=True)


def table(tried: list[Tried]) -> str:
    """The score: a row for each kind of end."""
    ends, failed = Counter[str](), Counter[str]()
    rests: dict[str, float] = {}
    blind = Counter[str]()
    for one in (outcome for cover in tried for outcome in cover.outcomes):
        ends[one.kind] += 1
        failed[one.kind] += bool(one.faults)
        blind[one.kind] += one.blind > 0
        if one.rested is not None:
            rests[one.kind] = max(rests.get(one.kind, 0.0), one.rested)
    lines = [
        f"{'what ended the run':24} {'ends':>5} {'faults':>7} {'blind':>6}  longest rest of the pen"
    ]
    for kind in sorted(ends):
        rest = f"{rests[kind]:.3f} s" if kind in rests else ""
        lines.append(
            f"{kind or '(none)':24} {ends[kind]:5} {failed[kind]:7} {blind[kind]:6}  {rest}"
        )
    covers = [cover.number for cover in tried if any(one.faults for one in cover.outcomes)]
    sums = f"{sum(ends.values()):5} {sum(failed.values()):7} {sum(blind.values()):6}"
    lines.append(f"{'all':24} {sums}  covers at fault: {covers}")
    return "\n".join(lines)


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("ends", type=int, nargs="?", default=500)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--only", type=int, metavar="K", help="this cover alone, with all it said")
    words.add_argument("--model", action="append", choices=list(MODELS))
    words.add_argument("--kind", action="append", help="only ends of this kind; may be repeated")
    words.add_argument("--all-models", action="store_true", help="weak machines too")
    words.add_argument("--workers", type=int, default=2)
    words.add_argument("--checkout", type=Path, default=HERE)
    words.add_argument("--python", default=sys.executable)
    words.add_argument(
        "--reads-once", action="store_true", help="readings are left out once a section is begun"
    )
    words.add_argument("--verbose", action="store_true")
    options = words.parse_args()
    if options.only is not None:
        with tempfile.TemporaryDirectory() as name:
            campaign = campaign_of(options, Path(name))
            tried = [campaign.cover(options.only)]
            campaign.close()
        report(tried[0], True)
    else:
        with ThreadPoolExecutor(options.workers) as pool:
            parts = pool.map(
                lambda worker: list(share(options, worker, options.workers)), range(options.workers)
            )
            tried = [one for part in parts for one in part]
    print(table(tried))
    return int(any(outcome.faults for one in tried for outcome in one.outcomes))


if __name__ == "__main__":
    raise SystemExit(main())

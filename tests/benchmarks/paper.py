"""Sheets against `vpype read` of the same marking: `python -m tests.benchmarks.paper`.

Not part of the tests. Whole processes in turn, each in an environment of its own as in
`tests.benchmarks.write`; the goal is at most four times the peer's time for all of a kind's sheets.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from marking.shipped_files import stock
from tests.benchmarks.write import ROOT, Command, environment, ratio, seconds

KINDS = ("full", "tiles", "keep", "hand", "job")
GOAL = 4.0


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        demo = stock().joinpath("demo", "millrace", "job.toml")
        (folder / "job.toml").write_bytes(demo.read_bytes())
        ours = [environment(folder / "ours", str(ROOT)), "-m", "devices.commands"]
        peer = [environment(folder / "peer", "vpype"), "-m", "vpype_cli"]
        seconds(Command([*ours, "write", "--svg", "--job", str(folder)]))
        marking = folder / "marking.svg"
        shutil.copy(folder / "out" / "marking.svg", marking)

        def fresh() -> None:
            shutil.rmtree(folder / "out", ignore_errors=True)

        for kind in KINDS:
            printing = Command([*ours, "paper", kind, "--job", str(folder)], fresh)
            ratio(
                f"paper {kind}, whole process",
                printing,
                Command([*peer, "read", str(marking)]),
                GOAL,
            )


if __name__ == "__main__":
    main()

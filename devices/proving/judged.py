"""The verdict on what was measured, held against the proof before it, and kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from devices.proving.cover import mended
from devices.proving.sheet import kept_sheet
from devices.setting_down.steps_read import steps_for_proof
from marking.begun.on_the_cover import COVER
from marking.errors import BadInputError
from marking.job.keys import tape_of
from marking.mending.words import seen_lines, told_by_mends
from marking.network.allowed_errors import allowed_of
from marking.proof.limits import limits_of
from marking.proof.measured import read_measured
from marking.proof.verdict import prove
from marking.proof.words import proof_lines, proof_record, since, since_lines, since_record
from marking.record.record import layout_hash, open_record

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from devices.job import Job
    from devices.proving.cover import ProvedCover
    from marking.measures.lengths import Units
    from marking.mending.mend import Mend
    from marking.proof.verdict import CoverVerdict
    from marking.proof.words import Since
    from marking.record.record import Record
    from marking.record.rows import KeptCheck


class JudgedCover(Struct, frozen=True):
    """What a proof came to."""

    cover: ProvedCover
    verdict: CoverVerdict
    confirmed: Sequence[str]
    """Distances that were measured again and stand."""
    mended: tuple[Mend, ...]
    read_before: tuple[str, ...]
    """Verniers whose steps were kept when they were read, before."""
    since: Since | None
    """How the cover has changed since the proof before; None where there is none to compare."""
    step: float
    """The largest step that is allowed at a join, mm."""
    bare: bool
    """Whether a plotter should have inked it, and the record knows no section that is inked."""

    @property
    def kept(self) -> dict[str, Any]:
        """As the record has it."""
        result = {
            **proof_record(self.verdict),
            "slack": self.cover.slack,
            "confirmed": list(self.confirmed),
        }
        if self.mended:
            result["mended"] = [{"id": one.id, "step_mm": one.step} for one in self.mended]
        return result

    @property
    def record(self) -> dict[str, Any]:
        """As plain data for programs."""
        changes = since_record(self.since) if self.since is not None else None
        cores = {one.id: list(one.core) for one in self.cover.plan.sections}
        return {**self.kept, "since": changes, "cores": cores}

    def lines(self, units: Units) -> Iterator[str]:
        """In words."""
        first, *rest = proof_lines(self.verdict, units)
        yield first
        if self.bare and self.verdict.outcome == "pass":
            yield (
                "By the record no section is inked yet, so that this rests on the tape alone. Ink "
                "laid by hand, or by files that other software sent, is not kept there."
            )
        yield from (*seen_lines(self.mended, self.step), *rest)
        if self.since is not None:
            yield from since_lines(self.since)


def judge(folder: Path, job: Job, path: Path, confirmed: Sequence[str]) -> JudgedCover:
    """Judges what a file says was measured for the last sheet, and keeps the proof.

    Raises BadInputError for what cannot be read, RefusedError where the sheet is of another cover.
    """
    sheet, cover = kept_sheet(folder, job)
    shown = read_measured(path, sheet, job.units, confirmed)
    _check_confirmed(confirmed, shown)
    with open_record(folder) as record:
        shown, taken = steps_for_proof(shown, sheet.steps, record, cover.layout, cover.plan)
    limits = limits_of(job.tolerance, job.allowed)
    verdict = prove(sheet, shown, tape_of(job.tape), limits, confirmed)
    anew, step = mended(folder, job, cover.layout), allowed_of(job).step
    verdict = replace(verdict, outcome=told_by_mends(anew, step, verdict.outcome))
    named = layout_hash(cover.layout)
    with open_record(folder) as record:
        earlier = _earlier_proof(record, named, slack=cover.slack)
        changes: Since | None = None
        if earlier is not None and verdict.outcome != "measure again":
            changes = since(earlier.result, verdict)
        inked = any(ink.event == "done" and ink.layout == named for ink in record.ink())
        bare = cover.zone == "plotter" and not inked
        judged = JudgedCover(cover, verdict, confirmed, anew, tuple(taken), changes, step, bare)
        record.add_check(named, "proof", COVER, judged.kept)
    return judged


def _check_confirmed(confirmed: Sequence[str], shown: Mapping[str, float]) -> None:
    unknown = [name for name in confirmed if name not in shown]
    if unknown:
        raise BadInputError(f"--confirmed {', '.join(unknown)}: not among what was measured")


def _earlier_proof(record: Record, layout: str, *, slack: bool) -> KeptCheck | None:
    """The last proof of the same cover, lying as now, that came to a verdict."""
    proofs = [
        check
        for check in record.checks("proof", COVER)
        if check.layout == layout
        and check.result["slack"] == slack
        and check.result["outcome"] != "measure again"
    ]
    return proofs[-1] if proofs else None

"""How far each step of a job is, in words, by what the job's record and its folder show.

It keeps nothing, and says done only of what the record or a file can show.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from devices.begun import plan_of
from devices.history import has_record, kept_correction
from marking.job.keys import AgainTable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from devices.bench.state import Standing
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.mending.mend import Mend
    from marking.sections.zones import ZoneName

KEEP_PAGE = "paper/keep.pdf"
_PROVED = {
    "pass": "The cover passes",
    "fail": "It does not pass",
    "cannot tell": "Cannot be told yet",
    "measure again": "Measure again",
}
STEPS = ("measure", "choose", "see", "way", "ready", "mark", "prove", "keep")


class Kept(Struct, frozen=True):
    """What job.db knows of the marking as it stands."""

    inked: tuple[tuple[int, int], ...] = ()
    """Sections done, and all there are, of each division that any ink belongs to."""
    ruled: int = 0
    begun: bool = False
    tape_marks: bool = False
    """Whether tape marks are chosen for this marking."""
    proof: str = ""
    """What the last proof of this marking came to; empty where there is none."""
    inked_since: bool = False
    """Whether ink was laid or taken back after that proof, which knows nothing of it."""
    mends: tuple[str, ...] = ()
    """What is left to do of each mend, in words."""
    morning: str = ""
    """Why ink waits for the morning's check; empty where it does not."""
    meant: Mapping[str, float] = field(default_factory=dict)
    """What the tape should show at that check, mm; nothing without tape marks."""


def kept_of(folder: Path, job: Job | None = None, layout: Layout | None = None) -> Kept:
    """What the record of a job knows; of sections only what belongs to this very `layout`.

    Raises BadInputError where it cannot be read.
    """
    if not has_record(folder):
        return Kept()
    from marking.begun.inked import done_sections, ink_name
    from marking.begun.on_the_cover import tape_marks_are_set_out, tape_marks_set_out
    from marking.days.morning import meant, waits_for
    from marking.mending.mend import mends
    from marking.record.record import layout_hash, open_record, utc_now

    with open_record(folder) as record:
        ink, runs = record.ink(), record.runs()
        named = layout_hash(layout) if layout is not None else None
        proofs = [one for one in record.checks("proof") if one.layout == named]
        ruled = [one for one in record.ruled() if one.layout == named]
        ticks = {one.line: one.event == "ruled" for one in ruled}
        laid = [*(one.at for one in ink), *(one.at for one in runs), *(one.at for one in ruled)]
        chosen = layout is not None and tape_marks_are_set_out(record, layout)
        should = dict[str, float]()
        if job is not None and layout is not None and chosen:
            tape_marks = tape_marks_set_out(record, layout, job.units)
            should = meant(layout, tape_marks) if tape_marks is not None else should
    traced = sum(one.section.startswith(ink_name("", "beam")) for one in ink)
    plotted = len(runs) + len(ink) - traced
    counts, left, waits = [], list[str](), ""
    if job is not None and layout is not None:
        zones: tuple[tuple[ZoneName, int], ...] = (("plotter", plotted), ("beam", traced))
        for zone in (name for name, some in zones if some):
            correction = kept_correction(folder, job) if zone == "plotter" else None
            plan = plan_of(folder, zone, job, layout, correction)
            with open_record(folder) as record:
                counts.append((len(done_sections(record, layout, plan)), len(plan.sections)))
                if zone == "plotter":
                    left += map(_left_of, mends(record, layout, plan))
                    waits = waits_for(record, layout, plan, job.units, utc_now()) or ""
    proof = proofs[-1] if proofs else None
    return Kept(
        inked=tuple(counts),
        ruled=sum(ticks.values()),
        begun=bool(runs),
        tape_marks=chosen,
        proof=proof.result["outcome"] if proof is not None else "",
        inked_since=proof is not None and any(at > proof.at for at in laid),
        mends=tuple(filter(None, left)),
        morning=waits,
        meant=should,
    )


def _left_of(mend: Mend) -> str:
    """What is left to do of a mend; nothing of one that is done or taken back."""
    if mend.open:
        return f"{mend.id} to ink anew"
    if mend.to_rule:
        return f"{mend.id} to rule anew"
    return f"{mend.id} to look over" if mend.waits_for_a_look else ""


def steps(
    here: Standing, kept: Kept, waiting: Mapping[str, str], files: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """How each step stands, in words, and whether anything is left to do on it.

    A step that the record cannot call done is left: a person knows what else there is.
    """
    names = {str(one["name"]) for one in files}
    way = here.written.get("ways", {}).get("way")
    stands = {
        "measure": _measured(here, waiting),
        "choose": ("Nothing wrong", False)
        if here.layout is not None
        else ("Something is wrong", True),
        "see": _seen(here),
        "way": (str(way), False) if way else ("None chosen", True),
        "ready": _ready(kept, names),
        "mark": _marked(kept),
        "prove": _proved(kept),
        "keep": ("Page written", False) if KEEP_PAGE in names else ("Page not written yet", True),
    }
    return [{"step": step, "says": stands[step][0], "left": stands[step][1]} for step in STEPS]


def _measured(here: Standing, waiting: Mapping[str, str]) -> tuple[str, bool]:
    if here.job is not None and here.job.table.survey is not None:
        return "Measured", False
    six = [f"table.survey.{side}" for side in AgainTable.model_fields]
    typed = sum(name in waiting for name in six)
    if typed == len(six):
        return "They do not agree", True
    return (f"{typed} of 6 measured", True) if typed else ("Six measurements to take", True)


def _seen(here: Standing) -> tuple[str, bool]:
    if here.layout is None:
        return "No new picture", True
    count = len(here.layout.warnings)
    return (
        f"{count} {'note' if count == 1 else 'notes'} to read" if count else "Nothing to note"
    ), False


def _ready(kept: Kept, names: set[str]) -> tuple[str, bool]:
    """Files make nobody ready: tape marks are what is set out last before ink."""
    if kept.begun or kept.inked or kept.ruled:
        return "Begun", False
    if kept.tape_marks:
        return "Tape marks chosen", False
    count = len(names - {KEEP_PAGE})
    written = f"{count} {'file' if count == 1 else 'files'} written"
    return (written if count else "Nothing written yet"), True


def _proved(kept: Kept) -> tuple[str, bool]:
    if kept.inked_since:
        return "Inked since it was measured", True
    return _PROVED.get(kept.proof, "Nothing measured yet"), kept.proof != "pass"


def _marked(kept: Kept) -> tuple[str, bool]:
    said = [f"{done} of {every} sections" for done, every in kept.inked]
    if kept.ruled:
        said.append(f"{kept.ruled} {'line' if kept.ruled == 1 else 'lines'} ruled")
    said += kept.mends
    if kept.morning:
        said.append("the morning's check to take")
    whole = any(done == every for done, every in kept.inked)
    # Which lines are ruled beside the sections hangs on the way; the proof ends them all.
    proved = kept.proof == "pass" and not kept.inked_since
    left = bool(kept.mends) or not (whole or proved)
    return (", ".join(said) or "Nothing inked yet"), left

"""The work at the table: which section and line is lit, how, and the true-up under way.

A pure machine: a desk and a command make the next desk, or a message and the same desk. It
knows no browser, no server and no file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct, field
from msgspec.structs import replace

from devices.projector.desk.known_points import traced_crossings
from devices.projector.trueup.bump import check_targets
from devices.projector.trueup.calibration import LEAST_TARGETS, Landing
from devices.projector.trueup.points import by_tape
from devices.projector.trueup.result import Trued, carried, checked, line_sd, nudged, solved
from devices.projector.trueup.targets import ASIDE_PX, on_top, relit, suggest
from marking.errors import BadInputError, CanvasruleError
from marking.measures.lengths import format_length, parse_length

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from devices.projector.desk.beam_work import BeamWork
    from devices.projector.trueup.points import KnownPoint
    from devices.projector.trueup.targets import LightTarget
    from marking.measures.lengths import Units

TracedLook = Literal["show", "dim", "hide"]
COLOURS = ("#ffffff", "#7dff9b", "#ffe14d", "#6fd3ff", "#ff9ad5")
KINDS = ("all", "cross", "long", "hem", "numeral", "tick", "bias", "witness")
_WIDEST_PX = 12.0
_LONGEST_NOTE = 4000
_LONGEST_READING = 40
_MARKS = "'\"″”′’"
"""What people write for feet and inches."""


class TrueUp(Struct, frozen=True):
    """A true-up under way."""

    targets: tuple[LightTarget, ...]
    landed: Mapping[str, Landing]
    at: str
    """Name of the target being landed."""
    quick: bool = False
    """Two targets after a bump, and not all from nothing; the light stands still when they lie
    on their points."""


class Desk(Struct, frozen=True):
    """Everything that a crash must not lose."""

    section: str
    line: str | None
    traced: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """Ids of traced strokes by section."""
    trued: Mapping[str, Trued] = field(default_factory=dict)
    true_up: TrueUp | None = None
    blank: bool = False
    check: bool = False
    traced_look: TracedLook = "dim"
    kind: str = "all"
    colour: str = COLOURS[0]
    width_px: float = 2.0
    outlines: bool = False
    arrows: int = 0
    """Quarter turns, counter-clockwise, from the arrows of the pages to the picture's own."""
    notes: str = ""


def begun(work: BeamWork) -> Desk:
    """The desk before anything is traced."""
    first = work.plan.sections[0].id
    return Desk(first, next(iter(work.line_ids(first, "all")), None))


def acted(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    """The desk after `command`: `{"do": name, ...}`.

    Raises BadInputError for a command that is not one or comes too late, RefusedError for what
    cannot be done; the desk is then as it was.
    """
    name = command.get("do")
    act = _ACTS.get(name) if isinstance(name, str) else None
    if act is None:
        raise BadInputError(f"{name!r} is nothing this page does; reload it")
    return act(desk, work, command)


def is_lit(desk: Desk) -> bool:
    """Whether the section's lines can be lit: only after a true-up of its own."""
    return desk.section in desk.trued and desk.true_up is None


def _lines(desk: Desk, work: BeamWork) -> list[str]:
    return work.line_ids(desk.section, desk.kind)


def _open_lines(desk: Desk, work: BeamWork) -> list[str]:
    done = desk.traced.get(desk.section, frozenset())
    return [line for line in _lines(desk, work) if line not in done]


def _step(desk: Desk, work: BeamWork, by: int) -> Desk:
    lines = _lines(desk, work)
    if not lines:
        return replace(desk, line=None)
    at = lines.index(desk.line) + by if desk.line in lines else 0
    return replace(desk, line=lines[max(0, min(at, len(lines) - 1))])


def _done(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    line = command.get("line")
    if not is_lit(desk):
        raise BadInputError("no lines are lit here yet: true up this section first")
    if line != desk.line or line is None:
        raise BadInputError("the light has moved on since you saw it; nothing was marked")
    done = desk.traced.get(desk.section, frozenset()) | {line}
    desk = replace(desk, traced={**desk.traced, desk.section: done})
    lines = _lines(desk, work)
    at = lines.index(line) if line in lines else -1
    still_open = set(_open_lines(desk, work))
    onward = [one for one in (*lines[at + 1 :], *lines[: at + 1]) if one in still_open]
    return replace(desk, line=onward[0] if onward else line)


def _undone(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work, command
    done = desk.traced.get(desk.section, frozenset()) - {desk.line}
    return replace(desk, traced={**desk.traced, desk.section: done})


def _go_to_section(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    section = command.get("section")
    if section not in work.section_ids:
        raise BadInputError(f"{section!r} is no section of this job; reload the page")
    desk = replace(desk, section=section, true_up=None, line=None)
    lines = _open_lines(desk, work) or _lines(desk, work)
    return replace(desk, line=lines[0] if lines else None)


def _turn_section(desk: Desk, work: BeamWork, by: int) -> Desk:
    ids = work.section_ids
    at = max(0, min(ids.index(desk.section) + by, len(ids) - 1))
    return _go_to_section(desk, work, {"section": ids[at]})


def _look(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    if command.get("traced_look") in ("show", "dim", "hide"):
        desk = replace(desk, traced_look=command["traced_look"])
    if command.get("colour") in COLOURS:
        desk = replace(desk, colour=command["colour"])
    width = command.get("width_px")
    if isinstance(width, int | float) and 1 <= width <= _WIDEST_PX:
        desk = replace(desk, width_px=float(width))
    if isinstance(command.get("outlines"), bool):
        desk = replace(desk, outlines=command["outlines"])
    arrows = command.get("arrows")
    if type(arrows) is int and 0 <= arrows < 4:
        desk = replace(desk, arrows=arrows)
    if command.get("kind") in KINDS:
        desk = replace(desk, kind=command["kind"])
        lines = _open_lines(desk, work) or _lines(desk, work)
        if desk.line not in lines:
            desk = replace(desk, line=lines[0] if lines else None)
    return desk


def _blanked(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work
    return replace(desk, blank=bool(command.get("on")))


def _checked(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work
    return replace(desk, check=bool(command.get("on")))


def _noted(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work
    text = command.get("text")
    if not isinstance(text, str) or len(text) > _LONGEST_NOTE:
        raise BadInputError(f"notes hold {_LONGEST_NOTE} letters; shorten them")
    return replace(desk, notes=text)


def _begin_true_up(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    known = (*work.tape_marks, *_traced_points(desk, work))
    table = work.job.table
    window = on_top(work.section(desk.section).window, table.length, table.width)
    targets = suggest(window, work.expected(desk.section), work.by_tape, known)
    quick = bool(command.get("quick"))
    if quick:
        if desk.section not in desk.trued:
            raise BadInputError("there is no true-up here to check; true up first")
        targets = relit(check_targets(targets), desk.trued[desk.section].mapping)
    return replace(desk, true_up=TrueUp(targets, {}, targets[0].name, quick), blank=False)


def _traced_points(desk: Desk, work: BeamWork) -> Iterator[KnownPoint]:
    sds = {name: line_sd(trued) for name, trued in desk.trued.items()}
    return traced_crossings(work, desk.section, desk.traced, sds)


def _under_way(desk: Desk) -> TrueUp:
    if desk.true_up is None:
        raise BadInputError("no true-up is under way; begin one")
    return desk.true_up


def _with_target(true_up: TrueUp, changed: LightTarget) -> TrueUp:
    targets = tuple(changed if t.name == changed.name else t for t in true_up.targets)
    landed = {name: one for name, one in true_up.landed.items() if name != changed.name}
    return replace(true_up, targets=targets, landed=landed)


def _target(true_up: TrueUp) -> LightTarget:
    return next(target for target in true_up.targets if target.name == true_up.at)


def _nudged(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    asked = command.get("across", ""), command.get("down", "")
    if not all(isinstance(d, int | float) and abs(d) <= 2000 for d in asked):
        raise BadInputError("a nudge is a number of pixels across and down")
    across, down = _turned(asked, desk.arrows)
    if desk.true_up is not None:
        target = _target(desk.true_up)
        width, height = work.job.projector.pixels
        at = (target.at_px[0] + across, target.at_px[1] + down)
        if not (0 <= at[0] <= width and 0 <= at[1] <= height):
            raise BadInputError("that would move the target out of the picture")
        moved = replace(target, at_px=at, touched=True)
        return replace(desk, true_up=_with_target(desk.true_up, moved))
    if desk.section not in desk.trued:
        raise BadInputError("nothing is lit to nudge: true up this section first")
    held = desk.trued[desk.section]
    shifted = nudged(held, across, down)
    return replace(desk, trued={**desk.trued, desk.section: shifted})


def _turned(asked: tuple[Any, Any], quarters: int) -> tuple[float, float]:
    across, down = asked
    for _ in range(quarters):
        across, down = down, -across
    return across, down


def _picked(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work
    true_up = _under_way(desk)
    if command.get("target") not in [target.name for target in true_up.targets]:
        raise BadInputError("there is no such target; reload the page")
    return replace(desk, true_up=replace(true_up, at=command["target"]))


def _landed(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    true_up = _under_way(desk)
    target = _target(true_up)
    typed = "along" in command or "across" in command
    if typed:
        along = _reading(command.get("along"), "along", work)
        across = _reading(command.get("across"), "across", work)
        fell = by_tape(along, across, work.tape)
        target = replace(target, at_table=fell.at, sd=fell.sd, what="", touched=True)
    elif not (target.touched or true_up.quick):
        raise BadInputError(
            f"target {target.name} is lit where it was put at first, so nothing was landed. Bring "
            "it onto its point with the arrows (away and back, if it lies there already), or "
            "type where it fell"
        )
    true_up = _with_target(true_up, target)
    landing = Landing(target.name, target.at_px, target.at_table, target.sd, not typed)
    true_up = replace(true_up, landed={**true_up.landed, target.name: landing})
    left = [t.name for t in true_up.targets if t.name not in true_up.landed]
    true_up = replace(true_up, at=left[0] if left else target.name)
    if not true_up.quick and len(true_up.landed) == LEAST_TARGETS:
        true_up = _rest_relit(true_up, desk, work)
    return replace(desk, true_up=true_up)


def _rest_relit(true_up: TrueUp, desk: Desk, work: BeamWork) -> TrueUp:
    """From four landings on the others are known well enough to be lit close by their points."""
    rest = [target for target in true_up.targets if target.name not in true_up.landed]
    try:
        mapping = solved(work.aim(desk.section), tuple(true_up.landed.values())).mapping
    except CanvasruleError:
        return true_up  # said when the person asks for the result; the light stays as it was
    near = {target.name: target for target in relit(rest, mapping, ASIDE_PX)}
    width, height = work.job.projector.pixels
    if not all(0 <= x <= width and 0 <= y <= height for x, y in (t.at_px for t in near.values())):
        return true_up
    return replace(true_up, targets=tuple(near.get(t.name, t) for t in true_up.targets))


def _reading(text: object, which: str, work: BeamWork) -> float:
    if isinstance(text, str) and len(text) > _LONGEST_READING:
        raise BadInputError(f"{which}: {len(text)} letters are no reading of a tape; type it again")
    try:
        value = parse_length(_with_unit(text, work.job.units))
    except ValueError as fault:
        raise BadInputError(f"{which}: {fault}") from None
    size = float(work.layout.top.corners_table[:, 0 if which == "along" else 1].max())
    if value > size * 1.2:
        raise BadInputError(
            f"{which}: {text} is beyond the table, which is {format_length(size, work.job.units)} "
            f"({size:.0f} mm); check the unit"
        )
    return value


def _with_unit(text: object, units: Units) -> object:
    """A typed number with the job's unit, which the page names beside the field."""
    bare = (
        isinstance(text, str) and text.strip() and not any(c.isalpha() or c in _MARKS for c in text)
    )
    return f"{text} {units}" if bare else text


def _lifted(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    """Takes a landing back."""
    desk = _picked(desk, work, command)
    true_up = _under_way(desk)
    return replace(desk, true_up=_with_target(true_up, _target(true_up)))


def _finish(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del command
    true_up = _under_way(desk)
    landings = [true_up.landed[t.name] for t in true_up.targets if t.name in true_up.landed]
    if true_up.quick:
        trued = checked(work.aim(desk.section), desk.trued[desk.section], landings)
    else:
        trued = solved(work.aim(desk.section), landings)
    return replace(desk, trued={**desk.trued, desk.section: trued}, true_up=None)


def _given_up(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    del work, command
    return replace(desk, true_up=None)


def _carried(desk: Desk, work: BeamWork, command: Mapping[str, Any]) -> Desk:
    """Another section's true-up, where neither projector nor table has moved since."""
    other = command.get("section")
    if not isinstance(other, str) or other not in desk.trued:
        raise BadInputError(f"{other!r} has no true-up to use here")
    held = desk.trued[other]
    unlit = work.light(desk.section, held.mapping).unlit
    trued = carried(work.aim(desk.section), held, unlit)
    return replace(desk, trued={**desk.trued, desk.section: trued})


_ACTS: dict[str, Callable[[Desk, BeamWork, Mapping[str, Any]], Desk]] = {
    "done": _done,
    "undone": _undone,
    "next-line": lambda desk, work, _: _step(desk, work, 1),
    "previous-line": lambda desk, work, _: _step(desk, work, -1),
    "next-section": lambda desk, work, _: _turn_section(desk, work, 1),
    "previous-section": lambda desk, work, _: _turn_section(desk, work, -1),
    "section": _go_to_section,
    "look": _look,
    "blank": _blanked,
    "check": _checked,
    "notes": _noted,
    "true-up": _begin_true_up,
    "nudge": _nudged,
    "target": _picked,
    "landed": _landed,
    "lifted": _lifted,
    "finish": _finish,
    "give-up": _given_up,
    "use-true-up": _carried,
}

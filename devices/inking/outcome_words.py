"""How the inking of sections ended: exit code, JSON and words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from devices.session.run_told import EXIT_CODES
from marking.measures.counts import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.inking.section import RunOutcome


def exit_code(outcomes: Mapping[str, RunOutcome]) -> int:
    """0 where all asked for is done; of several ends the worst."""
    return max((EXIT_CODES[one.ended] for one in outcomes.values()), default=0)


def outcomes_record(
    outcomes: Mapping[str, RunOutcome], to_rule: int | None, *, rehearsal: bool
) -> dict[str, Any]:
    """As plain data; `to_rule` is how many lines are left to rule by hand, where there are any."""
    sections = [
        {"section": name, "ended": one.ended, "drawn": one.drawn} for name, one in outcomes.items()
    ]
    by_hand = {} if to_rule is None else {"lines_to_rule": to_rule}
    return {"schema": 1, "rehearsal": rehearsal, "sections": sections, **by_hand}


def outcome_lines(
    outcomes: Mapping[str, RunOutcome],
    to_rule: int | None,
    rule_command: str,
    anew: Sequence[str] = (),
) -> Iterator[str]:
    """Section by section, and what is left to rule by hand with `rule_command`.

    `anew` are the mends of which lines are left to be ruled anew.
    """
    for name, one in outcomes.items():
        yield f"{name}: {one.ended}, {counted(one.drawn, 'stroke')} drawn"
    if not outcomes:
        ruled = "" if to_rule != 0 or anew else ", and all lines are ruled"
        yield f"everything asked for is drawn already{ruled}"
    if to_rule:
        yield f"{counted(to_rule, 'line')} still to rule by hand between stubs: {rule_command}"
    if anew:
        yield f"{', '.join(anew)}: lines left to be ruled anew by hand; canvasrule mend says which"

"""What a person is told of a placement: no figure that means nothing, and what to look at."""

import pytest
from msgspec.structs import replace

from marking.errors import BadInputError
from marking.network.adjustment import adjust
from marking.network.allowed_errors import Allowed
from marking.network.network import Reading, known
from marking.placement.placement import place
from marking.placement.words import adjusted_lines, placement_lines
from marking.sections.neighbours import butts
from marking.tape_marks.visible import sights
from tests.placement.inking import READING_SD, ink_once, millrace
from tests.tape_marks.patterns import SettingOut, tape_marks

LIMITS = Allowed(25.4 / 16)


@pytest.fixture(scope="module")
def inked():
    """The first four sections of the Millrace bench, inked; the network and the setups."""
    layout, plan = millrace("flatbed-a3")
    seen = sights(plan, layout.grid, tape_marks(plan, layout.grid, SettingOut(76.2, True, 0)))
    done = []
    for section, placed, _ in ink_once(plan, seen, LIMITS, seed=11):
        done.append((section, placed))
        if len(done) == 4:
            return plan, seen, done
    raise AssertionError("the bench has more sections than four")


def fifth(inked, change):
    """The placement of the fifth section by readings that `change` makes of the true ones."""
    plan, seen, done = inked
    section = plan.sections[4]
    readings = [
        Reading(mark, seen.targets[mark].mark.at_table, READING_SD)
        for mark in seen.seen[section.id]
    ]
    network = done[-1][1].inking.network
    return place(network, section, change(readings), butts(plan.sections), LIMITS)


def test_after_read_again_no_pose_and_no_error_is_told(inked):
    def misread(readings):
        (x, y), first = readings[0].at, readings[0]
        return [replace(first, at=(x + 7.0, y)), *readings[1:]]

    placed = fifth(inked, misread)
    assert placed.verdict == "read again"
    said = "\n".join(placement_lines(placed))
    assert "READ AGAIN" in said
    assert placed.doubts[0].marks[0] in said
    for meaningless in ("Stands", "nked with", "95 % error", "one standard deviation"):
        assert meaningless not in said
    good = "\n".join(placement_lines(fifth(inked, lambda readings: readings)))
    for figure in ("Stands", "95 % error", "one standard deviation"):
        assert figure in good
    assert "Inked with" not in good


def test_readings_better_than_assumed_are_no_fault(inked):
    _, seen, done = inked
    adjusted = adjust(seen.targets.values(), [placed.inking.setup for _, placed in done])
    sections = [section for section, _ in done]
    low, high = adjusted.limits
    for factor, wanted, never in (
        (low / 2, "better than assumed: all is well", "not as it should"),
        ((low + high) / 2, "as it should be", "worse"),
        (2 * high, "worse than it should be", "well"),
    ):
        said = "\n".join(adjusted_lines(replace(adjusted, variance_factor=factor), sections))
        assert wanted in said
        assert never not in said


def test_columns_under_the_wrong_names_are_suspected(inked):
    plan, _, _ = inked
    x0, y0 = plan.sections[4].window[:2]

    def exchanged(readings):
        return [replace(r, at=(x0 + r.at[1] - y0, y0 + r.at[0] - x0)) for r in readings]

    with pytest.raises(BadInputError, match="With x and y exchanged") as told:
        fifth(inked, exchanged)
    assert "columns" in str(told.value)
    with pytest.raises(BadInputError, match="Check the figures"):
        fifth(inked, lambda readings: [replace(r, at=(x0 - 900.0, y0)) for r in readings])


def test_an_unknown_mark_is_answered_with_its_likest_neighbours(inked):
    _, seen, _ = inked
    names = [Reading(name, (0.0, 0.0), READING_SD) for name in seen.targets][:1]
    network = known(
        [replace(t, mark=replace(t.mark, id=f"n{3 * n}")) for n, t in enumerate(_control(seen))]
        + [replace(t, mark=replace(t.mark, id=f"f{3 * n}")) for n, t in enumerate(_control(seen))]
    )
    section = inked[0].sections[0]
    x0, y0 = section.window[:2]
    wrong = [replace(names[0], mark=f"n{k}", at=(x0 + 9 + k, y0 + 9)) for k in (7, 40)]
    with pytest.raises(BadInputError, match=r"mark n7 is not known; .* are n6, n9, n3, n12"):
        place(network, section, wrong, (), LIMITS)


def _control(seen):
    return [target for target in seen.targets.values() if target.inked_by is None][:20]

"""How large a slip of the tape shows in a survey, and what measurements more make of it.

Held against a rectangle worked by hand, against scipy with the marks as unknowns of their own, and
against slips drawn at random.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from devices.job_text import job_text
from marking.errors import BadInputError, RefusedError
from marking.job.keys import SurveyTable, TopTable
from marking.layout.survey import adjusted, slips_of, survey_top, taken, tape_sd
from marking.layout.survey_slips import shown
from marking.layout.top_shape import AGAIN, MORE, SIDES, Taking, unknowns_of
from marking.least_squares.readings_test import TRUST
from marking.measures.tape import USUAL_TAPE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.conftest import MakeJob

    Array = NDArray[np.float64]

FOOT = 304.8
QUARTER = 6.35
README = Path(__file__).parents[2] / "README.md"
CORNER = {"zero_near": 0, "far_near": 1, "far_far": 2, "zero_far": 3}
BENCH = np.array([[0.0, 0.0], [3810.0, 0.0], [3811.6, 1624.0], [1.2, 1625.6]])


def between(corners: Array, name: str, marks: dict[str, float]) -> float:
    """A measurement of the figure, written without the program's geometry.

    `marks` are where the middles were really set, in mm along their edge from the zero end, and
    how far the marks of the square lie from the corner.
    """
    zn, fn, ff, zf = corners
    near_edge, far_edge, end = fn - zn, ff - zf, zf - zn
    spot = {
        "near": zn + near_edge / np.linalg.norm(near_edge) * marks["near"],
        "far": zf + far_edge / np.linalg.norm(far_edge) * marks["far"],
        "along": zn + near_edge / np.linalg.norm(near_edge) * marks["along"],
        "across": zn + end / np.linalg.norm(end) * marks["across"],
    }
    pairs = {
        "near": (zn, fn),
        "far": (zf, ff),
        "zero_end": (zn, zf),
        "far_end": (fn, ff),
        "diagonal_from_zero_near": (zn, ff),
        "diagonal_from_zero_far": (zf, fn),
        "middle": (spot["near"], spot["far"]),
        "half_from_zero_near": (zn, spot["far"]),
        "half_from_far_near": (fn, spot["far"]),
        "half_from_zero_far": (zf, spot["near"]),
        "half_from_far_far": (ff, spot["near"]),
        "square_between": (spot["along"], spot["across"]),
    }
    one, other = pairs[name.removeprefix(AGAIN)]
    return float(np.linalg.norm(other - one))


def halves(corners: Array) -> dict[str, float]:
    zn, fn, ff, zf = corners
    return {
        "near": float(np.linalg.norm(fn - zn)) / 2,
        "far": float(np.linalg.norm(ff - zf)) / 2,
        "along": 4 * FOOT,
        "across": 3 * FOOT,
    }


def surveyed(names: tuple[str, ...], lengths: Array) -> SurveyTable:
    """A survey that read these lengths, in mm."""
    keys: dict[str, Any] = {}
    again: dict[str, str] = {}
    for name, length in zip(names, lengths, strict=True):
        into = again if name.startswith(AGAIN) else keys
        into[name.removeprefix(AGAIN)] = f"{length:.9f} mm"
    if again:
        keys["again"] = again
    if "square_between" in names:
        keys |= {"square_along": "4 ft", "square_across": "3 ft"}
    return SurveyTable.model_validate(keys)


def table(names: tuple[str, ...], lengths: Array) -> TopTable:
    return TopTable.model_validate(
        {"length": "150 in", "width": "64 in", "survey": surveyed(names, lengths)}
    )


def lengths_of(corners: Array, names: tuple[str, ...]) -> Array:
    return np.array([between(corners, name, halves(corners)) for name in names])


def test_a_rectangle_of_three_by_four_is_checked_as_its_self_stress_says() -> None:
    """By hand: in a rectangle with both diagonals, forces in proportion to the lengths balance.

    Sides in tension and diagonals in compression hold every corner, so the one condition that six
    measurements of 4, 4, 3, 3, 5 and 5 must meet has those figures for its coefficients, and a
    measurement's share of the check is its square over 16 + 16 + 9 + 9 + 25 + 25 = 100: 0.16,
    0.09 and 0.25. A slip of (3 + 2.326) deviations over the root of that shows 99 times in 100.
    """
    corners = FOOT * np.array([[0, 0], [4, 0], [4, 3], [0, 3]], dtype=float)
    six = Taking(SIDES, np.ones(6), 0.0)
    by_hand = (3 + 2.3263) / np.sqrt([0.16, 0.16, 0.09, 0.09, 0.25, 0.25])
    np.testing.assert_allclose(shown(six, unknowns_of(corners)), by_hand, rtol=1e-4)


def test_a_three_four_five_tells_the_lean_of_the_zero_end() -> None:
    """By hand, the law of cosines: legs of 48 and 36 in, and 60 1/4 in between them.

    60.25 squared is 3630.0625; 48 and 36 squared make 3600, and 30.0625 over 2 x 48 x 36 = 3456 is
    0.0086986: the corner opens to 90.5 degrees, and 64 in of such an end lean 0.557 in outward.
    """
    names = (*SIDES, "square_between")
    end = 64 * 25.4
    lean = -0.0086986 * end
    corners = np.array([[0, 0], [3810.0, 0], [3810.0, end], [lean, np.sqrt(end**2 - lean**2)]])
    lengths = lengths_of(corners, names)
    assert lengths[-1] == pytest.approx(60.25 * 25.4, abs=0.01)
    top = survey_top(table(names, lengths), "in")
    assert top.out_of_square == pytest.approx(0.557 * 25.4, abs=0.02)


@settings(max_examples=25)
@given(
    more=st.lists(st.sampled_from([*MORE, *(AGAIN + side for side in SIDES)]), unique=True),
    errors=st.lists(st.integers(-80, 80).map(lambda n: n / 100), min_size=18, max_size=18),
)
def test_any_of_them_are_adjusted_as_an_outside_library_does(
    more: list[str], errors: list[float]
) -> None:
    """scipy.optimize.least_squares, to which every mark set by tape is an unknown of its own."""
    order = (*SIDES, *MORE, *(AGAIN + side for side in SIDES))
    names = tuple(name for name in order if name in SIDES or name in more)
    lengths = lengths_of(BENCH, names) + errors[: len(names)]
    measured, taking = taken(surveyed(names, lengths), USUAL_TAPE)
    corners, _ = adjusted(measured, taking)
    leg_sd = float(tape_sd(np.array([4 * FOOT]), 1.5875)[0])

    def misfits(free: Array) -> Array:
        found = np.array([[0.0, 0.0], [free[0], 0.0], free[1:3], free[3:5]])
        marks = halves(found)
        shifts = dict(zip(("near", "far", "along", "across"), free[5:], strict=True))
        really = {mark: marks[mark] + shifts[mark] for mark in marks}
        tape = [between(found, name, really) for name in names]
        set_by = np.array([1.5875 / 2, 1.5875 / 2, leg_sd, leg_sd])
        return np.concatenate([(np.array(tape) - measured) / taking.sd, free[5:] / set_by])

    start = np.concatenate([BENCH.ravel()[[2, 4, 5, 6, 7]], np.zeros(4)])
    solved = least_squares(misfits, start, jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    np.testing.assert_allclose(unknowns_of(corners), solved.x[:5], rtol=0, atol=5e-3)


@settings(max_examples=25)
@given(more=st.lists(st.sampled_from([*MORE, *(AGAIN + side for side in SIDES)]), unique=True))
def test_any_of_them_may_be_left_out(more: list[str]) -> None:
    names = (*SIDES, *more)
    top = survey_top(table(names, lengths_of(BENCH, names)), "in")
    np.testing.assert_allclose(top.corners_table, BENCH, rtol=0, atol=1e-3)


@pytest.mark.parametrize("end", ["zero_end", "far_end"])
@pytest.mark.parametrize("slip", [-QUARTER, QUARTER])
def test_a_quarter_inch_in_an_end_passes_six_measurements_and_is_named_by_nine(
    end: str, slip: float
) -> None:
    six = lengths_of(BENCH, SIDES)
    six[SIDES.index(end)] += slip
    top = survey_top(table(SIDES, six), "in")
    assert top.adjustment is not None
    assert top.adjustment.in_sds < 2
    names = (*SIDES, "middle", "again.zero_end", "again.far_end")
    nine = lengths_of(BENCH, names)
    nine[SIDES.index(end)] += slip
    with pytest.raises(RefusedError, match=rf"table\.survey: .* Measure {end} again: "):
        survey_top(table(names, nine), "in")


@pytest.mark.parametrize("name", [*MORE, "again.near", "again.diagonal_from_zero_far"])
def test_one_that_contradicts_the_others_is_refused_by_name(name: str) -> None:
    names = (*SIDES, "middle", "half_from_zero_near", "half_from_zero_far", "square_between")
    names = tuple(dict.fromkeys((*names, name)))
    lengths = lengths_of(BENCH, names)
    lengths[names.index(name)] += 50.8
    with pytest.raises(RefusedError) as refused:
        survey_top(table(names, lengths), "in")
    assert name.removeprefix(AGAIN) in str(refused.value).partition("Measure ")[2]


def test_slips_of_the_size_told_are_refused_ninety_nine_times_in_a_hundred() -> None:
    rng = np.random.default_rng(5)
    names = (*SIDES, "middle", "again.zero_end")
    true = lengths_of(BENCH, names)
    measured, taking = taken(surveyed(names, true), USUAL_TAPE)
    told = shown(taking, unknowns_of(BENCH))
    for side in (0, 2, 4):
        missed = 0
        for _ in range(400):
            drawn = measured + taking.sd * rng.standard_normal(len(names))
            drawn[side] += told[side]
            _, adjustment = adjusted(drawn, taking)
            missed += adjustment.in_sds <= TRUST
        # 4 are expected; 12 or more come about once in a thousand such tests (binomial).
        assert missed < 12


def test_a_survey_without_slips_is_seldom_refused() -> None:
    """Of three deviations and three to spare, chance takes about one in a hundred."""
    rng = np.random.default_rng(6)
    names = (*SIDES, "middle", "again.zero_end", "again.far_end")
    measured, taking = taken(surveyed(names, lengths_of(BENCH, names)), USUAL_TAPE)
    refused = 0
    for _ in range(1_000):
        # The middles' marks are counted besides, so these errors are a little small.
        drawn = measured + taking.sd * rng.standard_normal(len(names))
        refused += adjusted(drawn, taking)[1].in_sds > TRUST
    assert refused < 30


def test_what_one_more_would_add_is_what_it_adds() -> None:
    lengths = lengths_of(BENCH, SIDES)
    top = survey_top(table(SIDES, lengths), "in")
    slips = slips_of(table(SIDES, lengths), top)
    assert slips.one_more is not None
    (name,) = slips.one_more.names
    names = (*SIDES, name)
    after = slips_of(
        table(names, lengths_of(BENCH, names)),
        survey_top(table(names, lengths_of(BENCH, names)), "in"),
    )
    np.testing.assert_allclose(after.now, slips.one_more.shows, rtol=2e-3)
    assert slips.one_more.worst < slips.now.max() / 2


@pytest.mark.parametrize("survey", [False, True])
def test_the_report_says_before_and_after_measuring_what_would_pass(
    run_cli: Any, tmp_path: Path, survey: bool
) -> None:
    lines = '[table]\nlength = "150 in"\nwidth = "64 in"\n'
    if survey:
        lengths = zip(SIDES, lengths_of(BENCH, SIDES), strict=True)
        lines += "[table.survey]\n" + "".join(f'{side} = "{mm:.1f} mm"\n' for side, mm in lengths)
    (tmp_path / "job.toml").write_text(lines, "utf-8")
    done = run_cli("layout", "--job", tmp_path)
    assert done.returncode == 0, done.stderr
    assert (
        "99 times in 100, from 1/2 in in either long edge, 1 1/16 in in either end" in done.stdout
    )
    assert "One measurement more under [table.survey], `middle`" in done.stdout


def test_three_marks_of_a_square_are_given_together_and_on_their_edges() -> None:
    six = dict.fromkeys(SIDES, "3000 mm")
    for more, said in (
        ({"square_along": "4 ft"}, "given together"),
        (
            {"square_along": "12 ft", "square_across": "3 ft", "square_between": "5 ft"},
            "longer than the near edge",
        ),
    ):
        with pytest.raises(ValueError, match=said):
            SurveyTable.model_validate({**six, **more})


def test_a_square_that_no_triangle_has_is_named() -> None:
    names = (*SIDES, "square_between")
    lengths = lengths_of(BENCH, names)
    lengths[-1] = 8 * FOOT
    with pytest.raises((BadInputError, RefusedError), match="square_between"):
        survey_top(table(names, lengths), "in")


def test_the_template_tells_every_key_of_the_survey() -> None:
    text = job_text("A bench", "in", None, "150 in", "64 in", "flatbed-a3", 2)
    survey = text.partition("[table.survey]")[2].partition("[grid]")[0]
    for name in SurveyTable.model_fields:
        assert re.search(rf"(?m)^##? {name} = ", survey), name


def test_the_readmes_figures_are_the_tools_own(make_job: MakeJob) -> None:
    """What it says of its own sample: the sizes from which a slip shows in six and in nine."""
    from marking.layout.layout import lay_out
    from marking.output.survey_words import survey_lines

    text = README.read_text("utf-8")
    sample = text.partition("### 2. Measure the top")[2].partition("```toml\n")[2].partition("```")
    size = '[table]\nlength = "150 in"\nwidth = "64 in"\n'
    more = re.search(r"```toml\n(middle = .*?)```", sample[2], re.DOTALL)
    assert more is not None
    said = sample[2].partition("### 3")[0]
    for keys in (sample[0], sample[0] + more[1]):
        job = make_job(size + keys)
        line = next(one for one in survey_lines(lay_out(job).top, job) if "99 times" in one)
        for figure in re.findall(r"[\d /]+ in in either (?:end|long edge|diagonal)", line):
            assert figure.strip() in said, line

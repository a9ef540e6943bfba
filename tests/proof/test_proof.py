"""The finished cover: which distances tell, what they say, and when the tape cannot say.

Every cover here is built from known errors by the test's own geometry, and the adjustment is held
against scipy's least squares.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy import optimize, stats

from marking.drawing.pdf import pdf
from marking.errors import BadInputError
from marking.measures.tape import Tape, tape_reading
from marking.output.proof_sheet import proof_pages
from marking.proof.distances import plan_proof
from marking.proof.distortion import WHOLE, effect, patch_at, whole_rows
from marking.proof.geometry import design
from marking.proof.limits import within
from marking.proof.measured import read_measured
from marking.proof.sheet_words import sheet_lines
from marking.proof.verdict import prove
from marking.proof.words import proof_lines, proof_record, since, since_lines
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.output.printed import inked_box, text_of
from tests.proof.covers import Cover, taped

SIXTEENTH = 25.4 / 16
LIMITS = within(SIXTEENTH)


@pytest.fixture(scope="module")
def plan(millrace, millrace_layout, make_job):
    job = make_job(
        {"table": {"length": "150 in", "width": "64 in"}, "plotter": {"profile": "flatbed-24x36"}}
    )
    sections = divide_into_sections(millrace_layout, millrace, job.plotter.zone)
    return plan_proof(millrace_layout, sections, Tape(), LIMITS, "in")


def cover(plan, along=0.0, across=0.0, skew=0.0, moved=None, noise=None, tape=None):
    """What the tape shows on a cover stretched, skewed and with sections out of place, in mm.

    By the tests' own geometry and tape, `covers`.
    """
    x0, y0, x1, y1 = plan.model.rect
    finished = Cover(
        np.array([x0, x1]),
        np.array([y0, y1]),
        {patch.id: patch.core for patch in plan.model.patches},
        {name: (*shift, 0.0) for name, shift in (moved or {}).items()},
        (along / (x1 - x0), across / (y1 - y0)),
        skew,
    )
    shown = taped(finished, plan, None if noise is None else np.random.default_rng(noise))
    return {name: tape_reading(value, tape or Tape()) for name, value in shown.items()}


def test_the_sheet_begins_with_ten_that_tell_of_the_whole_cover_and_says_what_each_is_for(plan):
    ten, more = plan.distances[:10], plan.distances[10:]
    kinds = [distance.kind for distance in ten]
    assert [kinds.count(k) for k in ("diagonal", "along", "across", "thread")] == [2, 3, 3, 2]
    assert len({distance.purpose for distance in ten}) == 9  # both diagonals are for one thing
    sections = {patch.id for patch in plan.model.patches}
    assert {distance.purpose.split()[-1] for distance in more} <= sections
    assert all(distance.purpose for distance in plan.distances)
    assert plan.fewest == len(plan.distances)


def test_the_distances_tell_every_kind_of_error_apart(plan):
    # By rank and conditioning of the design with no prior at all on the whole cover's unknowns.
    rows, sd = design(plan.model, plan.distances, Tape())
    whole = (rows / sd[:, None])[:, : len(WHOLE)]
    assert np.linalg.matrix_rank(whole) == len(WHOLE)
    assert np.linalg.cond(whole) < 20
    assert plan.untold == ()
    assert max(plan.told.values()) < SIXTEENTH


def test_a_longer_sheet_keeps_the_names_of_a_shorter_one(millrace_layout, millrace_plan):
    def sheet(most):
        return plan_proof(millrace_layout, millrace_plan, Tape(), LIMITS, "in", most=most)

    short, long = sheet(60), sheet(105)
    assert long.distances[:60] == short.distances
    assert [distance.id for distance in long.distances[98:101]] == ["p99", "p100", "p101"]


def test_a_sheet_on_which_not_even_a_perfect_cover_would_pass_says_so(
    millrace_layout, millrace_plan, plan
):
    few = plan_proof(millrace_layout, millrace_plan, Tape(), LIMITS, "in", most=60)
    assert not few.could_pass()
    assert prove(few, cover(few), Tape(), LIMITS).outcome == "cannot tell"
    assert plan.could_pass()


def test_a_file_for_another_sheet_is_told_so_once(plan, millrace_layout, millrace_plan, tmp_path):
    other = plan_proof(millrace_layout, millrace_plan, Tape(), LIMITS, "in", most=60)
    path = tmp_path / "m.csv"
    rows = [f"{distance.id},{distance.nominal + 0.3:.1f} mm" for distance in other.distances]
    path.write_text("\n".join(["id,length", *rows, ""]))
    with pytest.raises(BadInputError, match="another sheet") as told:
        read_measured(path, plan, "in")
    assert len(told.value.messages) == 1


def test_an_inch_blunder_that_is_confirmed_fails_the_cover(plan, tmp_path):
    # One section was set down an inch along: every distance to it is out, however often measured.
    misplaced = plan.model.patches[-1].id
    shown = cover(plan, moved={misplaced: (25.4, 0.0)})
    path = tmp_path / "m.csv"
    rows = [f"{name},{length:.2f} mm" for name, length in shown.items()]
    path.write_text("\n".join(["id,length", *rows, ""]))
    with pytest.raises(BadInputError, match="If it stands, --confirmed p") as refused:
        read_measured(path, plan, "in")
    again = [re.search(r"--confirmed (p\d+)", said)[1] for said in refused.value.messages]
    assert 0 < len(again) < len(shown) / 3
    verdict = prove(plan, read_measured(path, plan, "in", again), Tape(), LIMITS, again)
    assert verdict.outcome == "fail"
    assert verdict.worst_section.sections == (misplaced,)


def test_a_true_cover_passes(plan):
    verdict = prove(plan, cover(plan), Tape(), LIMITS)
    assert verdict.outcome == "pass"
    assert verdict.again == verdict.in_doubt == ()
    assert all(abs(estimate.value) < 1e-6 for estimate in verdict.whole.values())


@pytest.mark.parametrize("seed", range(8))
def test_a_true_cover_passes_when_measured_with_a_real_tape(plan, seed):
    verdict = prove(plan, cover(plan, noise=seed), Tape(), LIMITS)
    assert verdict.outcome in ("pass", "cannot tell")
    assert verdict.again == ()


@pytest.mark.parametrize(
    ("error", "name"),
    [({"along": 5.0}, "along"), ({"across": -5.0}, "across"), ({"skew": 5.0}, "skew")],
)
def test_stretch_and_skew_are_each_found_and_not_taken_for_the_other(plan, error, name):
    verdict = prove(plan, cover(plan, **error, noise=4), Tape(), LIMITS)
    assert verdict.outcome != "pass"
    for other, estimate in verdict.whole.items():
        if other == name:
            assert estimate.value == pytest.approx(error[name], abs=2.6 * estimate.sd)
            assert estimate.certain()
        else:
            assert abs(estimate.value) < 3 * estimate.sd
    assert not verdict.worst_section.certain


@pytest.mark.parametrize("section", ["r1c2", "r2c3", "r2c6", "r2c1"])
def test_a_single_misplaced_section_is_found_named_and_failed(plan, section):
    verdict = prove(plan, cover(plan, moved={section: (4.0, 0.0)}, noise=2), Tape(), LIMITS)
    assert verdict.outcome == "fail"
    assert verdict.worst_section.sections == (section,)
    assert verdict.worst_section.axis == "along"
    assert verdict.worst_section.estimate.value == pytest.approx(4.0, abs=1.2)
    assert section in verdict.worst_join.sections


def test_a_slipped_tape_is_asked_for_again_and_fails_nobody(plan):
    shown = cover(plan, noise=3)
    for distance in plan.distances[:8]:
        slipped = {**shown, distance.id: shown[distance.id] + 25.4 / 4}
        verdict = prove(plan, slipped, Tape(), LIMITS)
        assert verdict.outcome == "measure again"
        assert verdict.again[0] == distance.id


def test_a_coarse_tape_cannot_tell(plan):
    coarse = Tape(tape_class="III", division=25.4 / 2)
    verdict = prove(plan, cover(plan), coarse, LIMITS)
    assert verdict.outcome == "cannot tell"
    assert verdict.in_doubt
    assert any(line.startswith("CANNOT TELL") for line in proof_lines(verdict, "in"))


def test_nothing_passes_on_trust_alone(millrace_layout, millrace_plan):
    # 70 sections, 24 distances, and no word of how the sections were placed.
    few = plan_proof(millrace_layout, millrace_plan, Tape(), LIMITS, "in", most=24)
    verdict = prove(few, cover(few), Tape(), LIMITS)
    assert verdict.outcome == "cannot tell"
    assert few.untold


def test_the_tapes_own_temperature_and_scale_are_taken_out(plan):
    tape = Tape(temperature=35, scale_error=0.0008)
    verdict = prove(plan, cover(plan, tape=tape), tape, LIMITS)
    assert abs(verdict.whole["along"].value) < 1e-6


def test_the_adjustment_is_scipys_least_squares_with_the_priors_as_observations(plan):
    shown = cover(plan, along=2.0, noise=6)
    model = plan.model
    prior = np.concatenate([model.prior_sd, [1.0, 1.0]])
    rows, sd = design(model, plan.distances, Tape())
    ends = np.array([distance.ends for distance in plan.distances])
    flat = ends.reshape(-1, 2)
    patches = np.array([patch_at(model, (float(x), float(y))) for x, y in flat])
    moved = effect(model, flat, patches).reshape(*ends.shape, model.count)
    threads = np.array([distance.thread is not None for distance in plan.distances])
    measured = np.array([shown[distance.id] for distance in plan.distances])

    def misfit(state):
        at = ends + moved @ state[:-2]
        length = np.hypot(*(at[:, 1] - at[:, 0]).T)
        length = np.where(threads, rows[:, :-2] @ state[:-2], length) + rows[:, -2:] @ state[-2:]
        return np.concatenate([(length - measured) / sd, state / prior])

    best = optimize.least_squares(
        misfit,
        np.zeros(len(prior)),
        jac="3-point",  # a forward difference ends 0.003 mm short of the least
        x_scale=prior,
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-12,
    )
    covariance = np.linalg.inv(best.jac.T @ best.jac)[:-2, :-2]
    verdict = prove(plan, shown, Tape(), LIMITS)
    for name, row in zip(WHOLE, whole_rows(model), strict=True):
        assert verdict.whole[name].value == pytest.approx(row @ best.x[:-2], abs=1e-4)
        assert verdict.whole[name].sd == pytest.approx(np.sqrt(row @ covariance @ row), rel=1e-3)


def test_the_stated_doubt_holds_the_truth_19_times_in_20(plan):
    inside = []
    for seed in range(120):
        verdict = prove(plan, cover(plan, along=1.0, skew=-1.0, noise=seed), Tape(), LIMITS)
        for name, truth in (("along", 1.0), ("skew", -1.0), ("across", 0.0)):
            estimate = verdict.whole[name]
            inside.append(abs(estimate.value - truth) <= 1.96 * estimate.sd)
    # Fewer than chance leaves once in a hundred such tests.
    assert sum(inside) >= stats.binom.ppf(0.01, len(inside), 0.95)


def test_a_later_proof_says_what_the_cloth_has_done_since(plan, tmp_path):
    first = prove(plan, cover(plan, noise=1), Tape(), LIMITS)
    with open_record(tmp_path) as record:
        record.add_check("abc", "proof", "cover", proof_record(first))
        kept = record.checks("proof")[-1].result
    later = prove(plan, cover(plan, across=6.0, noise=9), Tape(), LIMITS)
    changes = since(kept, later)
    assert changes.whole["across"].certain(3)
    assert not changes.whole["along"].certain(3)
    said = list(since_lines(changes))
    assert any("wider" in line for line in said)
    same = list(since_lines(since(kept, prove(plan, cover(plan, noise=1), Tape(), LIMITS))))
    assert len(same) == 2
    assert "as a whole has not" in same[0]
    assert same[1].startswith("No section has moved by itself")


def test_an_earlier_proof_of_another_marking_is_not_compared(plan):
    verdict = prove(plan, cover(plan), Tape(), LIMITS)
    with pytest.raises(BadInputError, match="another marking"):
        since({**proof_record(verdict), "size": [100.0, 100.0]}, verdict)
    with pytest.raises(BadInputError, match="cannot be read"):
        since({}, verdict)


def test_measurements_are_read_from_either_kind_of_file(plan, tmp_path):
    first, second = (distance for distance in plan.distances[2:4])
    toml, csv = tmp_path / "m.toml", tmp_path / "m.csv"
    toml.write_text(f'[measured]\n{first.id} = "147 1/32 in"\n{second.id} = "146 31/32 in"\n')
    csv.write_text(f"id,length_in\n{first.id},147.03125\n{second.id},146.96875\n")
    read = read_measured(toml, plan, "in")
    assert read == pytest.approx({first.id: 147.03125 * 25.4, second.id: 146.96875 * 25.4})
    assert read_measured(csv, plan, "in") == pytest.approx(read)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("id,length\np01,159 in\np01,159 in\n", r"m\.csv:3: p01: measured twice"),
        ("id,length\nq7,159 in\n", r"m\.csv:2: q7: not on the sheet; it has p01 to"),
        ("id,length\np03,146 in\n", "Count the lines"),
        ("id,length\np03,147 mm\n", "check the unit"),
        ("id,length\np03,147\n", "no unit"),
    ],
)
def test_a_measurement_that_cannot_be_is_refused_with_its_line(plan, tmp_path, text, said):
    path = tmp_path / "m.csv"
    path.write_text(text)
    with pytest.raises(BadInputError, match=said):
        read_measured(path, plan, "in")


def test_too_few_measurements_say_nothing(plan):
    few = dict(list(cover(plan).items())[:3])
    with pytest.raises(BadInputError, match="at least 6 are needed"):
        prove(plan, few, Tape(), LIMITS)


def test_a_sheet_for_a_cover_that_begins_at_72_says_which_line_it_calls_0(plan, millrace):
    """The cover reads 72 where the sheet counts 0; at a cover that begins at 0 nothing is said."""
    begun = millrace.numerals.model_copy(update={"first": 72})
    said = "0 is the line that reads 72, 1 the next one, that reads 73"
    args = plan, (), Tape()
    (first, *_) = proof_pages(*args, millrace.title, "in", "letter", begun)
    assert said in " ".join(text_of(pdf([first])).split())
    assert said in next(sheet_lines(*args, "in", begun))
    assert "counted from the zero line" not in "".join(sheet_lines(*args, "in", millrace.numerals))


def test_the_sheet_lists_every_distance_on_the_paper_and_always_the_same(plan, millrace):
    pages = proof_pages(plan, (), Tape(), millrace.title, "in", "letter", millrace.numerals)
    for page in pages:
        left, low, right, high = inked_box(page)
        wide, tall = page.size
        assert min(left, low, wide - right, tall - high) >= 6
    again = proof_pages(plan, (), Tape(), millrace.title, "in", "letter", millrace.numerals)
    assert pdf(pages) == pdf(again)

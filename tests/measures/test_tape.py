"""A tape is held against the law that classes it and the handbooks' coefficient of steel."""

from __future__ import annotations

import numpy as np
import pytest

from marking.errors import BadInputError
from marking.layout import survey
from marking.measures.tape import (
    Tape,
    celsius,
    compared,
    permissible_error,
    reading_covariance,
    reading_sd,
    tape_reading,
    true_length,
)

# Directive 2014/32/EU annex X chapter I, UK SI 2016/1153 schedule 1I paragraph 2: a + b L mm with
# L rounded up to the next whole metre. Worked out by hand: class, length in mm, error in mm.
BY_LAW = [
    ("I", 900.0, 0.2),
    ("I", 1000.0, 0.2),
    ("I", 1000.1, 0.3),
    ("I", 10_000.0, 1.1),
    ("II", 500.0, 0.5),
    ("II", 3810.0, 1.1),
    ("II", 10_000.0, 2.3),
    ("III", 1.0, 1.0),
    ("III", 3810.0, 2.2),
    ("III", 10_000.0, 4.6),
]


@pytest.mark.parametrize(("tape_class", "length", "error"), BY_LAW)
def test_a_tape_may_be_as_wrong_as_its_class_allows(tape_class, length, error):
    assert permissible_error(length, tape_class) == pytest.approx(error, abs=1e-12)


def test_a_hundred_feet_of_steel_grows_as_the_surveyors_handbooks_say():
    # Surveying handbooks: 6.45e-6 per degree F from 68 F; 100 ft at 98 F is 0.01935 ft long.
    hundred_feet = 100 * 304.8
    warm = Tape(temperature=celsius(98))
    grown = true_length(hundred_feet, warm) - hundred_feet
    assert grown == pytest.approx(100 * 6.45e-6 * 30 * 304.8, rel=0.001)


def test_thirty_metres_at_thirty_five_degrees_are_5_mm_long():
    # 11.6e-6 per degree C from 20 C, surveying handbooks: 30 m, 15 degrees warmer, 5.22 mm.
    assert true_length(30_000, Tape(temperature=35)) == pytest.approx(30_005.22, abs=1e-6)


def test_the_two_temperature_scales_name_one_reference():
    assert celsius(68) == pytest.approx(20)
    assert true_length(1234.5, Tape(temperature=celsius(68))) == pytest.approx(1234.5, abs=1e-9)


def test_a_length_survives_the_way_to_the_tape_and_back():
    tape = Tape(temperature=31, scale_error=-0.0004)
    lengths = np.linspace(0, 4000, 23)
    there = [true_length(tape_reading(length, tape), tape) for length in lengths]
    np.testing.assert_allclose(there, lengths, atol=1e-9)


def test_a_stretched_tape_shows_less_than_is_there():
    assert tape_reading(2000, Tape(scale_error=0.001)) < 2000


def test_a_tape_compared_with_a_known_length_then_reads_it_true():
    tape = compared(Tape(temperature=27), shown=2001.3, known=2000.0, known_sd=0.05)
    assert true_length(2001.3, tape) == pytest.approx(2000.0, abs=1e-9)
    assert tape.scale_sd == pytest.approx(np.hypot(0.05, tape.division / 2) / 2001.3)


def test_a_compared_tape_is_surer_over_a_long_run_than_its_class():
    shown = 10_000.0
    known = compared(Tape(division=0.5), shown, 10_002.0, 0.1)
    assert reading_sd(shown, known) < reading_sd(shown, Tape(division=0.5))


def test_the_uncertainty_is_the_one_the_table_survey_uses():
    lengths = np.array([300.0, 1625.6, 3810.0])
    tape = Tape(division=25.4 / 16, temperature_sd=0)
    np.testing.assert_allclose(reading_sd(lengths, tape), survey.tape_sd(lengths, 25.4 / 16))


def test_readings_with_one_tape_share_its_scale():
    lengths = np.array([500.0, 3810.0, 3900.0])
    covariance = reading_covariance(lengths, Tape())
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), reading_sd(lengths, Tape()))
    # Half of 0.2 mm a metre over four metres begun, and 2 degrees of steel.
    shared = (0.1 * 4) ** 2 + (2 * 11.6e-6) ** 2 * lengths[1] * lengths[2]
    assert covariance[1, 2] == pytest.approx(shared)
    # The difference of two equal runs is free of the scale they share.
    difference = np.array([0, 1, -1]) @ covariance @ np.array([0, 1, -1])
    assert difference < 0.75 * (covariance[1, 1] + covariance[2, 2])
    assert np.linalg.eigvalsh(covariance).min() > 0


def test_a_hook_adds_what_the_law_adds():
    # Same paragraph: c, 0.2 mm for class II, when an end surface bounds the interval.
    plain, hooked = (
        Tape(temperature_sd=0, division=1e-6),
        Tape(temperature_sd=0, division=1e-6, hook=True),
    )
    assert reading_sd(900.0, hooked) - reading_sd(900.0, plain) == pytest.approx(0.1, abs=1e-9)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"temperature": 75.0}, "24 C"),
        ({"temperature": float("nan")}, "finite"),
        ({"scale_error": 0.05}, "more than any tape"),
        ({"division": 0.0}, "division"),
        ({"tape_class": "IV"}, "none of I, II and III"),
    ],
)
def test_a_tape_that_cannot_be_is_refused_with_advice(wrong, said):
    with pytest.raises(BadInputError, match=said):
        Tape(**wrong)

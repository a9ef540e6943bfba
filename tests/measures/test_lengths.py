"""Lengths as a person with a tape writes and reads them, held against exact fractions."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from marking.measures.lengths import (
    format_length,
    parse_length,
    parse_percent,
    parse_speed,
    tape_fraction,
)

MM = {"in": Fraction(254, 10), "ft": Fraction(3048, 10), "mm": 1, "cm": 10, "m": 1000}
"""1 in = 25.4 mm and 1 ft = 12 in exactly (international yard and pound agreement, 1959)."""


def inches(whole: int, over: int = 0, below: int = 1) -> float:
    return float((whole + Fraction(over, below)) * MM["in"])


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("8 1/4 in", inches(8, 1, 4)),
        ("5' 4\"", inches(64)),
        ('163-1/16"', inches(163, 1, 16)),
        ("1.5in", inches(1, 1, 2)),
        ("38 mm", 38.0),
        ("1.2 m", 1200.0),
        ("1 in", 25.4),
        ("1/16 in", 1.5875),
        ("360 cm", 3600.0),
        ("12 ft", 3657.6),
        ("12 ft 6 in", inches(150)),
        ("12' 6 1/2\"", inches(150, 1, 2)),
        ("12'6\"", inches(150)),
        ("0 in", 0.0),
        (".5 in", 12.7),
        ("5. mm", 5.0),
    ],
)
def test_a_length_means_what_the_tape_says(text: str, millimetres: float) -> None:
    assert parse_length(text) == millimetres


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("8¼ in", "8 1/4 in"),
        ("8 ¼ in", "8 1/4 in"),
        ("½ in", "1/2 in"),
        ("2⅞ inches", "2 7/8 in"),
        ("1⅓ ft", "1 1/3 ft"),
        ("3 1⁄16 in", "3 1/16 in"),
        ("5′ 4″", "5' 4\""),
        ("5’ 4”", "5' 4\""),
        ("5' 4''", "5' 4\""),
        ("163–1/16 in", "163-1/16 in"),
        ("163 - 1/16 in", "163-1/16 in"),
        ("8\u00a01/4\u00a0in", "8 1/4 in"),
        ("8 1/4 INCH", "8 1/4 in"),
        ("5 feet 4 inches", "5 ft 4 in"),
        ("1 foot", "12 in"),
        ("  38   mm  ", "38 mm"),
        ("38mm", "38 mm"),
        ("3.6 M", "360 cm"),
    ],
)
def test_the_same_length_may_be_written_as_people_write_it(text: str, plain: str) -> None:
    assert parse_length(text) == parse_length(plain)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("150", 'no unit; write "150 in" or "150 mm"'),
        ("8 1/4", 'no unit; write "8 1/4 in" or "8 1/4 mm"'),
        ("8½", "no unit"),
        (150, 'a bare number has no unit; write "150 in" or "150 mm"'),
        (2.5, 'write "2.5 in" or "2.5 mm"'),
        (True, "not a length"),
        (None, "not a length"),
        (["1 in"], "not a length"),
        ("-5 in", "cannot be negative"),
        ("−5 in", "cannot be negative"),
        ("–1/2 in", "cannot be negative"),
        ("1/0 in", "0 below the line"),
        ("8 1/0 in", "0 below the line"),
        ("5 furlongs", "unit 'furlongs' is not known; use in, ft, mm, cm or m"),
        ("1 km", "unit 'km' is not known"),
        ("5 in 4 ft", "mixes units"),
        ("5 in 4 in", "mixes units"),
        ("5 cm 4 in", "mixes units"),
        ("1 m 20 cm", "mixes units"),
        ("", "not a length|no unit"),
        ("   ", "not a length|no unit"),
        ("in", "not a length"),
        ("nan in", "not a length"),
        ("inf mm", "not a length"),
        ("1e3 mm", "unit|not a length"),
        ("1,5 in", "not a length"),
        ("0x10 in", "unit|not a length"),
        ("1/2/3 in", "not a length"),
        ("5 -4 in", "not a length"),
        ("5 in x", "not a length"),
        ("10000 m", "longer than any tape"),
        ("101 m", "longer than any tape"),
    ],
)
def test_what_is_no_length_is_refused_with_what_would_do(text: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_length(text)


def test_a_figure_no_machine_number_can_hold_is_longer_than_any_tape() -> None:
    with pytest.raises(ValueError, match="longer than any tape"):
        parse_length("9" * 400 + " in")


wholes = st.integers(0, 3000)
fractions = st.sampled_from([1, 2, 4, 8, 16, 32, 64]).flatmap(
    lambda below: st.builds(Fraction, st.integers(0, below - 1), st.just(below))
)


@given(whole=wholes, over=st.integers(0, 200), below=st.integers(1, 200))
def test_any_vulgar_fraction_is_exact_to_the_nearest_float(
    whole: int, over: int, below: int
) -> None:
    exact = (whole + Fraction(over, below)) * MM["in"]
    assert parse_length(f"{whole} {over}/{below} in") == float(exact)
    assert parse_length(f'{whole}-{over}/{below}"') == float(exact)


@given(
    places=st.integers(0, 4),
    digits=st.integers(0, 300_000),
    unit=st.sampled_from(["in", "ft", "mm", "cm", "m"]),
)
def test_any_decimal_is_exact_to_the_nearest_float(places: int, digits: int, unit: str) -> None:
    exact = Fraction(digits, 10**places)
    text = f"{digits / 10**places:.{places}f}"
    assert Fraction(text) == exact
    if exact * MM[unit] <= 100_000:
        assert parse_length(f"{text} {unit}") == float(exact * MM[unit])


@given(feet=st.integers(0, 300), whole=st.integers(0, 11), over=fractions)
def test_feet_and_inches_add_up_exactly(feet: int, whole: int, over: Fraction) -> None:
    exact = (12 * feet + whole + over) * MM["in"]
    assert parse_length(f"{feet}' {tape_fraction(whole + over)}\"") == float(exact)


@given(st.floats(0, 100_000))
def test_a_shown_length_reads_back_within_half_a_thirty_second(millimetres: float) -> None:
    shown = format_length(millimetres, "in")
    assert abs(parse_length(shown) - millimetres) <= 25.4 / 64 + 1e-9


@given(st.integers(0, 100_000))
def test_what_the_tape_can_show_is_shown_exactly(thirty_seconds: int) -> None:
    exact = Fraction(thirty_seconds, 32)
    shown = format_length(float(exact * MM["in"]), "in", remainder=True)
    number = shown.removesuffix(" in")
    assert sum(map(Fraction, number.split())) == exact


@given(st.floats(0, 20_000))
def test_with_its_remainder_a_shown_length_is_true_to_a_twentieth_of_a_millimetre(
    millimetres: float,
) -> None:
    shown = format_length(millimetres, "in", remainder=True)
    tape, _, left = shown.partition(" in")
    read = float(sum(map(Fraction, tape.split())) * MM["in"])
    if left:
        sign, number, unit = left.split()
        assert unit == "mm"
        read += float(number) * {"+": 1, "-": -1}[sign]
    assert abs(read - millimetres) <= 0.05 + 1e-9


@given(st.floats(0, 100_000))
def test_a_metric_length_is_shown_to_a_tenth_of_a_millimetre(millimetres: float) -> None:
    shown = format_length(millimetres, "mm")
    assert "-0" not in shown
    assert abs(parse_length(shown) - millimetres) <= 0.05 + 1e-9


@pytest.mark.parametrize(
    ("millimetres", "units", "shown"),
    [
        (209.55, "in", "8 1/4 in"),
        (0.0, "in", "0 in"),
        (1.5875, "in", "1/16 in"),
        (3810.0, "in", "150 in"),
        (38.0, "mm", "38 mm"),
        (38.25, "mm", "38.2 mm"),
        (0.0, "mm", "0 mm"),
    ],
)
def test_lengths_are_shown_as_the_trade_reads_them(
    millimetres: float, units: str, shown: str
) -> None:
    assert format_length(millimetres, units) == shown


@pytest.mark.parametrize(
    ("text", "ratio"), [("1.5 %", 0.015), ("0 %", 0.0), ("-2%", -0.02), (".5 %", 0.005)]
)
def test_a_stretch_is_a_percentage(text: str, ratio: float) -> None:
    assert parse_percent(text) == ratio


@pytest.mark.parametrize("text", ["1.5", 1.5, "% 1", "one %", "", None, "nan %", "1 % 2 %"])
def test_what_is_no_percentage_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match="not a percentage"):
        parse_percent(text)


@pytest.mark.parametrize(
    ("text", "speed"), [("120 mm/s", 120.0), ("4 in/s", 101.6), ("12 cm / sec", 120.0)]
)
def test_a_speed_is_a_length_a_second(text: str, speed: float) -> None:
    assert parse_speed(text) == pytest.approx(speed, abs=1e-12)


@pytest.mark.parametrize("text", ["120", "120 mm", 120, "120 mm/h", "/s", "mm/s"])
def test_what_is_no_speed_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match=r"not a (speed|length)|no unit"):
        parse_speed(text)

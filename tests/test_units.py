"""Values with units: what is taken, what is refused, and what the refusal says."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline import units
from hingeline.errors import UnitError


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("0.25 in", units.LENGTH, 6.35),
        ("6.4 mm", units.LENGTH, 6.4),
        ("6,4mm", units.LENGTH, 6.4),
        ("-12,5 mm", units.LENGTH, -12.5),
        ("13 deg", units.ANGLE, 13.0),
        ("13°", units.ANGLE, 13.0),
        ("1520 us", units.PULSE, 1520.0),
        ("1520 µs", units.PULSE, 1520.0),
        ("0.18 N m", units.TORQUE, 0.18),
        ("0.09 deg/us", units.RATE, 0.09),
        ("500 ms", units.TIME, 0.5),
        ("333 Hz", units.FRAME_RATE, 333.0),
        ("500 us/s", units.SLEW, 500.0),
        ("500 µs/s", units.SLEW, 500.0),
        ("4,8 V", units.VOLTAGE, 4.8),
        ("4800 mV", units.VOLTAGE, 4.8),
    ],
)
def test_a_value_with_its_unit_is_read(text, kind, value):
    assert units.parse(text, kind) == pytest.approx(value, rel=1e-15)


def test_torque_units_agree_with_the_defining_constants():
    # kgf: 9.80665 N exactly (CGPM 1901); pound 0.45359237 kg and inch 25.4 mm exactly.
    # 1 kgf cm = 13.887386594323 ozf in: from those definitions.
    kg_cm = units.parse("1 kg cm", units.TORQUE)
    assert kg_cm == 0.0980665
    assert units.in_unit(kg_cm, units.TORQUE, "oz in") == pytest.approx(13.887386594323, rel=1e-13)
    # 7.061552e-3 N m: NIST SP 811, table B.8 (from memory), seven digits.
    assert units.parse("1 oz in", units.TORQUE) == pytest.approx(7.061552e-3, abs=5e-10)
    assert units.parse("45 oz in", units.TORQUE) == pytest.approx(0.317770, abs=5e-7)


@pytest.mark.parametrize("text", ["6.4", "-3", "12,5"])
def test_a_bare_number_is_refused_and_the_units_are_named(text):
    with pytest.raises(UnitError, match="has no unit") as caught:
        units.parse(text, units.LENGTH)
    for unit in units.LENGTH.factors:
        assert unit in str(caught.value)


@pytest.mark.parametrize("raw", [6.4, 6, True, None, ["6 mm"]])
def test_a_value_that_is_no_text_is_refused(raw):
    with pytest.raises(UnitError, match="has no unit"):
        units.parse(raw, units.LENGTH)


@pytest.mark.parametrize(
    "number", ["nan", "inf", "-inf", "1e999", "1_500", "１５", "0x10", "--1", "1.2.3", "", "."]
)
def test_what_is_not_a_plain_number_is_refused(number):
    with pytest.raises(UnitError):
        units.parse_number(number)
    with pytest.raises(UnitError):
        units.parse(f"{number} mm", units.LENGTH)


def test_so_many_digits_that_the_number_overflows_are_refused():
    with pytest.raises(UnitError, match="too large"):
        units.parse_number("9" * 400)
    with pytest.raises(UnitError, match="too large"):
        units.parse("9" * 308 + " in", units.LENGTH)


@pytest.mark.parametrize(
    ("text", "value"), [("12,5", 12.5), ("-12,5", -12.5), ("12.5", 12.5), ("+3", 3.0)]
)
def test_one_comma_is_a_decimal_mark(text, value):
    assert units.parse_number(text) == value


def test_comma_and_point_together_are_refused():
    with pytest.raises(UnitError, match="both a comma and a point"):
        units.parse_number("1.234,5")


@pytest.mark.parametrize("text", ["1,500", "1.5", "-1500", "+1500", "1500.0", "1 500"])
def test_a_pulse_is_digits_only(text):
    with pytest.raises(UnitError):
        units.parse(f"{text} us", units.PULSE)


@pytest.mark.parametrize("text", ["760", "1.5 ms", "1,500 us", "-760 us", "760 u", "9" * 400])
def test_a_pulse_is_shown_with_its_unit_for_both_common_classes_of_servos(text):
    with pytest.raises(UnitError) as caught:
        units.parse(text, units.PULSE)
    assert '"760 us" or "1500 us"' in caught.value.mend
    for example in (units.PULSE.example, units.PULSE.other_example):
        assert units.parse(example, units.PULSE) > 0


def test_a_pulse_in_milliseconds_is_refused():
    with pytest.raises(UnitError, match="'ms'"):
        units.parse("1.5 ms", units.PULSE)


def test_at_a_prompt_a_bare_number_is_in_the_unit_of_the_question():
    assert units.parse_at_prompt("12,5", units.ANGLE) == (12.5, "12.5 deg")
    assert units.parse_at_prompt("1", units.LENGTH, "in") == (25.4, "1 in")
    assert units.parse_at_prompt("12.5 mm", units.LENGTH, "in") == (12.5, "12.5 mm")


@given(st.text(max_size=20))
def test_any_text_is_either_a_finite_number_or_refused(text):
    try:
        assert math.isfinite(units.parse_number(text))
    except UnitError as error:
        assert error.mend


@given(st.decimals(min_value=-1000, max_value=1000, places=3, allow_nan=False))
def test_a_printed_number_reads_back(number):
    assert units.parse_number(f"{number:f}") == pytest.approx(float(number), abs=1e-12)


def test_figures_are_written_no_finer_than_they_mean():
    assert units.deg(-0.04) == "0.0 deg"
    assert units.deg(12.449) == "12.4 deg"
    assert units.mm(3.25001) == "3.3 mm"
    assert units.us(1499.6) == "1500 us"

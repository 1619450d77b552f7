"""Typing slips are named, with the value that was probably meant."""

from dataclasses import replace

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.travel.fit import fit
from hingeline.travel.means import FoldsBackError
from hingeline.travel.reading import Reading, shaft_reading
from hingeline.travel.schedule import traverse
from hingeline.travel.slips import find_slips
from hingeline.travel.suspects import explain
from tests.support.servo_truth import ServoTruth, random_servo

PULSES = (1000, 1200, 1400, 1500, 1600, 1800, 2000)
STRAIGHT = (-45.0, -27.0, -9.0, 0.0, 9.0, 27.0, 45.0)


def typed(pulses, texts, approach="rising"):
    return [
        shaft_reading(pulse, approach, float(text.replace(",", ".")), as_typed=text)
        for pulse, text in zip(pulses, texts, strict=True)
    ]


def with_slip(pulse, text):
    texts = [f"{angle:g}" for angle in STRAIGHT]
    texts[PULSES.index(pulse)] = text
    return typed(PULSES, texts)


@pytest.mark.parametrize(
    ("pulse", "text", "slip", "likely", "off"),
    [
        (1800, "270", "decimal point", 27.0, 243.0),
        (1800, "2.7", "decimal point", 27.0, -24.3),
        (1200, "27", "sign", -27.0, 54.0),
        (1800, "72", "digits swapped", 27.0, 45.0),
        (1000, "450", "sign and decimal point", -45.0, 495.0),
        (1800, "99", "", None, 72.0),
    ],
)
def test_one_slip(pulse, text, slip, likely, off):
    readings = with_slip(pulse, text)
    (suspect,) = find_slips(readings)
    assert suspect.index == PULSES.index(pulse)
    assert (suspect.pulse_us, suspect.approach, suspect.as_typed) == (pulse, "rising", text)
    assert suspect.slip == slip
    assert suspect.likely == (None if likely is None else pytest.approx(likely))
    assert suspect.residual_deg == pytest.approx(off, abs=1e-9)
    curve = fit(readings)
    assert curve.rate_deg_per_us == pytest.approx(0.09, abs=1e-12)
    assert curve.angle_deg(1500) == pytest.approx(0.0, abs=1e-9)
    assert curve.readings == tuple(readings)  # kept, not corrected
    assert str(suspect) in curve.notes[0]


def test_what_plain_least_squares_would_have_made_of_it():
    # 0.194 deg/us and +34.7 deg for the lost point, 0.067 and +7.7 for the lost sign.
    for pulse, text, rate, offset in ((1800, "270", 0.194, 34.7), (1200, "27", 0.067, 7.7)):
        readings = with_slip(pulse, text)
        pulses, angles = np.array([(r.pulse_us - 1500, r.angle_deg) for r in readings]).T
        slope, height = np.polyfit(pulses, angles, 1)
        assert (slope, height) == (pytest.approx(rate, abs=5e-4), pytest.approx(offset, abs=0.05))


def test_two_slips_at_once():
    readings = with_slip(1800, "270")
    readings[1] = replace(readings[1], angle_deg=27.0, as_typed="27")
    assert [(s.pulse_us, s.likely) for s in find_slips(readings)] == [(1200, -27.0), (1800, 27.0)]


def test_two_alike_slips_do_not_hide_each_other():
    # Both lose their sign: each alone looks less wild beside the other.
    texts = ["-45", "27", "-18", "9", "0", "9", "18", "27", "36", "45"]
    texts[3] = "9"
    pulses = (1000, 1200, 1300, 1400, 1500, 1600, 1700, 1800, 1900, 2000)
    assert [s.pulse_us for s in find_slips(typed(pulses, texts))] == [1200, 1400]


def test_tidy_readings_have_no_suspects():
    # All on the gauge's marks: the median residual is 0, and dividing by it would damn all.
    assert find_slips(with_slip(1500, "0")) == ()
    assert find_slips(with_slip(1500, "0,5")) == ()
    assert find_slips(with_slip(1500, "-1.5")) == ()


def test_three_readings_cannot_tell():
    with pytest.raises(TravelError, match=r"3 readings do not lie on a line.*Re-measure"):
        fit(typed((1000, 1500, 2000), ("-45", "0", "450")))
    assert fit(typed((1000, 1500, 2000), ("-45", "0", "45"))).suspects == ()


def test_contradiction_that_cannot_be_told_apart():
    # A bent servo, and at both ends the two directions differ by 4 deg: a line or a parabola,
    # one end or the other.
    pulses = (1000, 1250, 1500, 1750, 2000)
    bent = [0.09 * (p - 1500) + 2.0 * ((p - 1500) / 500) ** 2 for p in pulses]
    readings = [shaft_reading(p, "rising", a) for p, a in zip(pulses, bent, strict=True)]
    bent[0], bent[-1] = bent[0] + 4.0, bent[-1] + 4.0
    readings += [shaft_reading(p, "falling", a) for p, a in zip(pulses, bent, strict=True)]
    with pytest.raises(TravelError, match=r"cannot be told: 1000 us, 2000 us\. Re-measure"):
        fit(readings)


@pytest.mark.parametrize(
    "angles",
    [
        ("-45", "-44", "-30", "0", "30", "44", "45"),  # softly
        ("-30", "-30", "-15", "0", "15", "30", "30"),  # on stops, one pulse each
        ("-45", "-30", "-15", "0", "15", "30", "32"),  # on one stop, between two pulses
    ],
)
def test_a_saturating_servo_is_shape_not_slip(angles):
    assert find_slips(typed(range(900, 2101, 200), angles)) == ()


def test_a_reading_confirmed_from_the_other_side_is_shape():
    # Both directions say 60 where a line says 27: whatever it is, it was not mistyped twice.
    up = with_slip(1800, "60")
    down = [replace(r, approach="falling", angle_deg=r.angle_deg + 0.5) for r in up]
    assert find_slips(up + down) == ()


def test_up_and_down_exchanged_at_one_pulse():
    pulses = range(1000, 2001, 200)
    up = [shaft_reading(p, "rising", 0.09 * (p - 1500) - 1.0) for p in pulses]
    down = [shaft_reading(p, "falling", 0.09 * (p - 1500) + 1.0) for p in pulses]
    up[2], down[2] = (
        replace(up[2], angle_deg=down[2].angle_deg),
        replace(down[2], angle_deg=up[2].angle_deg),
    )
    curve = fit(up + down)
    assert [(s.pulse_us, s.slip) for s in curve.suspects] == [(1400, "up/down swapped")] * 2
    assert curve.hysteresis_deg == pytest.approx(2.0, abs=1e-9)


def test_a_slip_of_a_surface_reading_is_explained_in_its_own_unit():
    # 4 mm down typed for 14 mm is nothing we know; 140 is: the shaft goes with the millimetres.
    reading = Reading(1700, "rising", 180.0, 0.5, "140 mm", "surface")
    suspect = explain(3, reading, 18.2, 2.0)
    assert (suspect.slip, suspect.likely) == ("decimal point", 14.0)


def test_a_decimal_comma_is_read():
    suspect = explain(0, shaft_reading(1800, "rising", 72.5, as_typed="72,5"), 27.5, 2.0)
    assert (suspect.slip, suspect.likely) == ("digits swapped", 27.5)


def test_an_end_reading_that_is_wild_is_not_used_for_the_range():
    curve = fit(with_slip(2000, "450"))
    assert curve.range_us == (1000.0, 1800.0)
    with pytest.raises(TravelError, match="2000 us is outside the measured range"):
        curve.angle_deg(2000)


def test_slips_on_random_servos_are_found_and_honest_readings_left():
    found = missed = honest_named = refused = right = total = 0
    for seed in range(100):
        rng = np.random.default_rng([11, seed])
        servo = random_servo(rng)
        points = int(rng.choice([7, 9, 13]))
        steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=points)
        readings = servo.read(steps, rng)
        large = [i for i, reading in enumerate(readings) if abs(reading.angle_deg) > 3.0]
        meant = {}
        for index in rng.choice(large, size=rng.integers(1, 3), replace=False):
            angle = readings[index].angle_deg
            wrong = angle * rng.choice([10.0, -1.0, 0.1])
            meant[index] = angle
            readings[index] = replace(readings[index], angle_deg=wrong, as_typed=f"{wrong:g}")
        total += len(meant)
        try:
            suspects = find_slips(readings)
        except TravelError:
            refused += len(meant)
            continue
        named = {suspect.index: suspect.likely for suspect in suspects}
        found += len(named.keys() & meant.keys())
        missed += len(meant.keys() - named.keys())
        honest_named += len(named.keys() - meant.keys())
        right += sum(
            likely == pytest.approx(meant.get(i)) for i, likely in named.items() if likely
        )
    assert found >= 0.97 * total
    assert right >= 0.95 * total
    assert honest_named <= 0.01 * total
    assert missed + refused <= 0.03 * total


@pytest.mark.parametrize("top", [20.0, 35.0])
def test_an_arm_that_turns_back_is_no_row_of_exchanged_pairs(top):
    # Its lag turns with it, so each pair beyond the top looks as if up and down were exchanged.
    servo = ServoTruth(0.09, bend_deg=1.0, play_deg=1.0, noise_deg=0.1)
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    folded = [
        replace(reading, angle_deg=min(reading.angle_deg, 2.0 * top - reading.angle_deg))
        for reading in servo.read(steps, np.random.default_rng(3))
    ]
    with pytest.raises(FoldsBackError, match="folds back"):
        fit(folded)


def test_an_end_typed_wrong_both_ways_alike_is_named():
    # Two equal readings at an end bend a cubic towards them, so that neither looks far off.
    pulses = range(1000, 2001, 100)
    both = [
        shaft_reading(p, approach, 0.09 * (p - 1500), as_typed=f"{0.09 * (p - 1500):g}")
        for approach in ("rising", "falling")
        for p in pulses
    ]
    for place in (0, 11):
        both[place] = replace(both[place], angle_deg=-4.5, as_typed="-4.5")
    curve = fit(both)
    assert [(s.index, s.slip, s.likely) for s in curve.suspects] == [
        (0, "decimal point", -45.0),
        (11, "decimal point", -45.0),
    ]
    assert curve.rate_deg_per_us == pytest.approx(0.09, abs=1e-12)

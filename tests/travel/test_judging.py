"""Readings judged as they are typed: slips are questioned, honest ones let be."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.bench.asking import (
    Gauge,
    arm_question,
    surface_question,
    understand,
    with_number,
)
from hingeline.bench.doubting import instead, offering
from hingeline.bench.readings import at_arm, retyped
from hingeline.errors import TravelError
from hingeline.travel.judging import REPEATED, SWAPPED, Judge, doubt_among, expect
from hingeline.travel.reading import shaft_reading
from hingeline.travel.schedule import Step
from tests.support.entries import bench_with, judged
from tests.support.models import one


def read(pulse_us, angle_deg, approach="rising", typed=None, resolution_deg=0.5):
    text = f"{angle_deg:g}" if typed is None else typed
    return shaft_reading(
        pulse_us, approach, angle_deg, resolution_deg=resolution_deg, as_typed=text
    )


def judge_of(*readings):
    judge = Judge()
    for reading in readings:
        judge.keep(reading, judge.doubt(reading))
    return judge


LINE = [read(1500 + 50 * n, 4.5 * n) for n in range(8)]


def test_slips_are_questioned_and_honest_readings_are_not():
    # 98 of 100 and 1 of 100 are what is promised; over ten times as many entries, all kinds
    # of slips and gauges, see tests/benchmarks/bench_entry.py.
    tally = judged(1500)
    assert tally.slips.total() > 1000
    assert tally.caught >= 0.98
    assert tally.false_alarms < 0.01
    assert tally.named / tally.slips.total() > 0.9
    # What no arm or linkage can do is among them, and is asked about all the same.
    assert tally.refused > 200
    assert tally.offered / tally.refused >= 0.98


def test_two_readings_say_nothing_yet_and_the_third_is_judged():
    judge = judge_of(*LINE[:1])
    assert judge.doubt(read(1550, 170.0)) is None
    judge = judge_of(*LINE[:2])
    assert judge.doubt(read(1600, 9.0)) is None
    doubt = judge.doubt(read(1600, 90.0))
    assert (doubt.slip, doubt.likely) == ("decimal point", "9")
    # At one pulse, however often, nothing is expected of another.
    assert judge_of(LINE[0], LINE[0], LINE[0]).doubt(read(1700, 99.0)) is None


@pytest.mark.parametrize("turns", [1.0, -1.0])
def test_a_stop_is_not_taken_for_a_slip_whichever_way_it_turns(turns):
    # Case: a servo that saturates; the last three pulses do not move it any more.
    angles = [0.0, 4.5, 9.0, 18.0, 27.0, 36.0, 38.0, 38.0, 38.0]
    pulses = [1500, 1550, 1600, 1700, 1800, 1900, 2000, 2100, 2200]
    judge = Judge()
    doubts = []
    for pulse, angle in zip(pulses, angles, strict=True):
        reading = read(pulse, turns * angle)
        doubts.append(judge.doubt(reading))
        judge.keep(reading, doubts[-1])
    assert [doubt for doubt in doubts if doubt and doubt.worth_asking] == []
    assert any(doubt and doubt.at_stop for doubt in doubts)
    # Back off the stop, what is read is what was expected all the time.
    back = read(1800, turns * 27.5, "falling")
    assert judge.doubt(back) is None


def test_a_reading_beyond_what_was_expected_is_no_stop():
    doubt = judge_of(*LINE).doubt(read(1900, 60.0))
    assert not doubt.at_stop
    assert doubt.worth_asking


def test_what_was_typed_before_and_is_typed_again_is_named():
    judge = judge_of(*LINE, read(1800, 27.6, "falling", "27.6"))
    doubt = judge.doubt(read(1700, 27.6, "falling", "27.6"))
    assert doubt.slip == REPEATED
    assert doubt.at_stop  # that is what a stop looks like as well: told, not asked
    assert not doubt.worth_asking
    doubt = judge.doubt(read(1700, 27.6, "falling", "27.60"))
    assert doubt.slip == ""


def test_a_pair_typed_the_wrong_way_round_is_told_by_each_other():
    def true(pulse, approach):
        side = 1.2 if approach == "falling" else -1.2
        return read(pulse, 0.09 * (pulse - 1500) + side, approach, resolution_deg=0.25)

    up = [true(pulse, "rising") for pulse in range(1200, 1900, 50)]
    down = [true(pulse, "falling") for pulse in range(1850, 1600, -50)]
    wrong = replace(true(1600, "falling"), approach="rising")
    judge = judge_of(*[wrong if one.pulse_us == 1600 else one for one in up], *down)
    doubt = judge.doubt(replace(true(1600, "rising"), approach="falling"))
    assert doubt.slip == SWAPPED
    assert doubt.partner is wrong
    assert doubt.worth_asking
    assert judge_of(*up, *down).doubt(true(1600, "falling")) is None


def test_a_slip_that_was_kept_does_not_make_the_next_ones_look_wrong():
    judge = judge_of(*LINE[:4], read(1700, 81.0), *LINE[5:])
    assert judge.doubt(read(1900, 36.0)) is None


def test_the_first_two_may_be_the_slip():
    # The third is questioned, as it must be: which of them is wrong, nobody can tell yet.
    assert judge_of(LINE[0], read(1550, 45.0)).doubt(LINE[2]) is not None


@given(
    st.floats(-0.12, 0.12).filter(lambda rate: abs(rate) > 0.05),
    st.floats(-20.0, 20.0),
    st.floats(0.0, 2.0),
    st.sampled_from([0.25, 0.5, 1.0, 2.0]),
)
def test_no_reading_of_a_straight_servo_is_ever_doubted(rate, offset_deg, play_deg, step_deg):
    judge = Judge()
    walk = [(p, -1.0, "rising") for p in range(1500, 2001, 50)]
    walk += [(p, 1.0, "falling") for p in range(1950, 1000, -50)]
    for pulse, side, approach in walk:
        lag = side * math.copysign(play_deg / 2.0, rate)
        true = offset_deg + rate * (pulse - 1500) + lag
        shown = round(true / step_deg) * step_deg
        reading = read(pulse, shown, approach, resolution_deg=step_deg)
        assert judge.doubt(reading) is None
        judge.keep(reading)


def test_what_is_expected_is_a_conditional_normal_distribution():
    # Checked against the same numbers by the textbook's other way: the inverse of the whole
    # covariance gives mean and variance of its last member (Rasmussen and Williams 2006, A.6).
    import numpy as np

    from hingeline.travel import judging as of

    new = read(1900, 0.0, "falling")
    angle, u = expect(LINE, [0.0] * len(LINE), new)
    everyone = [*LINE, new]
    cov = np.empty((len(everyone), len(everyone)))
    for i, a in enumerate(everyone):
        for j, b in enumerate(everyone):
            x, y = a.pulse_us - 1500.0, b.pulse_us - 1500.0
            sides = (1 if a.approach == "falling" else -1) * (1 if b.approach == "falling" else -1)
            cov[i, j] = (
                of._PLACE_DEG**2
                + of._RATE_DEG_PER_US**2 * x * y
                + of._BEND_DEG**2 * math.exp(-((x - y) ** 2) / (2.0 * of._BEND_US**2))
                + of._HALF_GAP_DEG**2 * sides
                + (i == j) * (a.u_deg**2 + of._REST_DEG**2)
            )
    precision = np.linalg.inv(cov)
    known = np.array([reading.angle_deg for reading in LINE])
    assert u == pytest.approx(precision[-1, -1] ** -0.5, rel=1e-6)
    assert angle == pytest.approx(-precision[-1, :-1] @ known / precision[-1, -1], rel=1e-6)


def test_a_reading_is_judged_by_those_behind_it_as_well():
    for place in range(len(LINE)):
        before, behind = LINE[:place], LINE[place + 1 :]
        assert doubt_among(before, behind, LINE[place]) is None
        doubt = doubt_among(before, behind, read(LINE[place].pulse_us, 77.0))
        assert doubt.expected_deg == pytest.approx(LINE[place].angle_deg, abs=1.0)


ARM = Gauge("arm", 0.5)
RISEN = Step(1900, "rising", True)


def likely(typed, others, question=None, make=None, step=RISEN):
    question = question or arm_question("A1", 1, step.pulse_us, ARM)
    again = retyped(question, typed, step, make or at_arm(ARM))
    return instead(again, typed, others, ())


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("365", ("36.5", "decimal point")),
        ("3650", ("36.5", "decimal point")),
        ("-355", ("35.5", "sign and decimal point")),
        ("ccw 365 deg", ("ccw 36.5 deg", "decimal point")),
        ("cw 365", ("ccw 36.5", "sign and decimal point")),
        ("575", None),  # 57.5 does not go with the others
        ("3x65", None),
        ("nonsense", None),
        ("", None),
    ],
)
def test_what_no_arm_can_do_is_offered_as_it_was_meant(typed, meant):
    found = likely(typed, LINE)
    if meant is None:
        assert found is None
        return
    assert found[1] == meant[1]
    question = arm_question("A1", 1, 1900, ARM)
    assert understand(question, found[0]).value == understand(question, meant[0]).value


def test_nothing_is_offered_while_the_others_say_nothing():
    assert likely("365", LINE[:1]) is None
    assert likely("365", [LINE[0], LINE[0]]) is None
    assert likely("90", LINE[:2], step=Step(1600, "rising", True)) is not None


def test_what_a_servo_on_its_stop_would_give_is_offered_as_well():
    assert likely("3150", LINE) == ("31.5", "decimal point")  # still where it was before


def test_what_no_linkage_can_show_is_offered_as_it_was_meant():
    bench = bench_with(Gauge("deg", 0.5))
    steps = [Step(1500 + 50 * n, "rising", True) for n in range(8)]
    shown = [(step, bench.typed(bench.shown(4.5 * n))) for n, step in enumerate(steps)]
    others = [bench.read(step, typed)[0] for step, typed in shown]
    true = bench.typed(bench.shown(36.0))
    word, size = true.split()
    wrong = f"{word} {float(size) * 10:g}"
    assert float(size) * 10 <= 180.0
    with pytest.raises(TravelError):
        bench.read(RISEN, wrong)
    assert likely(wrong, others, bench.question, bench.make) == (true, "decimal point")


def test_the_offer_says_what_is_taken_for_what():
    asked = offering(arm_question("A1", 1, 1900, ARM), "1900 us", ("57.5", "decimal point"))
    assert asked.text == "1900 us, was 57.5 meant (decimal point): yes, or the reading again"
    assert "takes 57.5 instead" in asked.help
    assert "Ctrl-C" in asked.help


AILERON, _ = one()


@pytest.mark.parametrize(
    ("question", "typed", "number", "text"),
    [
        (arm_question("A1", 1, 1500, Gauge("arm", 0.5)), "270", 27.0, "27"),
        (arm_question("A1", 1, 1500, Gauge("arm", 0.5)), "-12,5 deg", 12.5, "12.5 deg"),
        (arm_question("A1", 1, 1500, Gauge("arm", 0.5)), "12.5", -12.5, "-12.5"),
        (arm_question("A1", 1, 1500, Gauge("arm", 0.5)), "cw 12.5", -12.5, "ccw 12.5"),
        (arm_question("A1", 1, 1500, Gauge("arm", 0.5)), "12.5 cw", 1.25, "cw 1.25"),
        (surface_question(AILERON, 1, Gauge("deg", 0.5), assumed=None), "12 up", -12, "down 12"),
        (
            surface_question(AILERON, 1, Gauge("drop", 0.5), assumed=None),
            "down 0.25 in",
            2.5,
            "down 2.5 in",
        ),
    ],
)
def test_another_number_in_what_was_typed(question, typed, number, text):
    assert with_number(question, typed, number) == text

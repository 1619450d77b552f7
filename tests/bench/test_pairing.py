"""The pair check: alike at every point, the right way, and only then passed."""

from __future__ import annotations

import itertools

import pytest

from hingeline.bench.asking import Gauge
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import channel_of, in_use
from hingeline.bench.procedures.pairing import check_pair, stick_pulse_us
from hingeline.bench.simulated.servo import ServoTruth
from hingeline.bench.simulated.standin import StandIn
from hingeline.errors import LinkageError, TravelError
from hingeline.travel.matching import points_of
from hingeline.travel.setting import setting_of
from tests.support.bench import Notes, Person, Watched, station
from tests.support.models import aileron_pair, model, servo, surface

LEVEL = Gauge("deg", 0.1)
PLAIN = ServoTruth(1500.0, 0.0, 0.09)


class Rig:
    def __init__(self, made, truths=(PLAIN, PLAIN)):
        self.model = made
        shapes = made.surfaces
        stations = {
            shape.channel: station(shape, made, truth)
            for shape, truth in zip(shapes, truths, strict=True)
        }
        self.line = Watched(stations)
        self.board = Board(self.line)
        self.settings = [setting_of(shape, made.servo_of(shape), None) for shape in shapes]
        self.notes = Notes()

    def check(self, asker=None, **how):
        channels = [channel_of(s.servo, s.surface.channel, "") for s in self.settings]
        moves = self.model.pairs[0].moves
        with in_use(self.board, channels):
            return check_pair(
                self.board,
                *self.settings,
                moves,
                LEVEL,
                asker or StandIn(self.line.stations, 1),
                self.notes,
                **how,
            )


def typed(left, right, moves="opposite"):
    """Answer as a pair moved by the stick would: ``left`` and ``right`` are (up, down) throws."""
    lines = []
    for stick in (-1.0, -0.5, 0.0, 0.5, 1.0):
        for (up, down), sign in ((left, -1 if moves == "opposite" else 1), (right, 1)):
            towards = stick * sign
            size = up * towards if towards >= 0 else -down * towards
            word = "up" if towards >= 0 else "down"
            if size < 0:
                size, word = -size, {"up": "down", "down": "up"}[word]
            lines.append(f"{word} {size:g}" if size else "0")
    return Person(lines)


def test_left_and_right_match_with_differential():
    check = Rig(aileron_pair()).check(typed((15, 10), (15, 10)))
    assert check.passed
    assert check.worst.difference_deg == 0


def test_equal_totals_do_not_pass_when_the_throws_are_swapped():
    check = Rig(aileron_pair()).check(typed((15, 10), (10, 15)))
    assert not check.passed
    assert check.wrong_way == ()
    assert abs(check.worst.difference_deg) == 5
    ends = {item.stick: item.difference_deg for item in check.mismatches}
    assert (ends[1.0], ends[-1.0]) == (5, 5)  # left goes further up, and less far down


def test_both_the_wrong_way_do_not_pass_although_they_are_opposite():
    check = Rig(aileron_pair()).check(typed((-15, -10), (-15, -10)))
    assert not check.passed
    assert abs(check.worst.difference_deg) <= 1.0
    sides = {(stick, side) for stick in (-1.0, -0.5, 0.5, 1.0) for side in ("left", "right")}
    assert set(check.wrong_way) == sides


def test_one_the_wrong_way_does_not_pass():
    check = Rig(aileron_pair()).check(typed((15, 10), (-15, -10)))
    assert not check.passed
    assert {side for _, side in check.wrong_way} == {"right"}


@pytest.mark.parametrize("stuck", ["left", "right"])
def test_one_that_stands_still_does_not_pass(stuck):
    still = (0, 0)
    both = ((15, 10), still) if stuck == "right" else (still, (15, 10))
    check = Rig(aileron_pair()).check(typed(*both))
    assert not check.passed
    assert {side for _, side in check.wrong_way} == {stuck}


@pytest.mark.parametrize(("tolerance", "passed"), [(0.9, False), (1.0, True)])
def test_the_tolerance_decides(tolerance, passed):
    check = Rig(aileron_pair()).check(typed((15, 10), (14, 10)), tolerance_deg=tolerance)
    assert abs(check.worst.difference_deg) == 1.0
    assert check.passed is passed


def test_the_direction_must_be_typed():
    lines = ["12", "yes", "-12", "15 up"]
    rest = ["down 11", "up 7", "down 5", "0", "0", "down 5", "up 7", "down 11", "up 15"]
    person = Person(lines + rest)
    check = Rig(aileron_pair()).check(person)
    assert check.points[0].left.measured_deg == 15
    assert sum("which way" in text for text in person.told) == 2
    assert all(question.assumed is None for question in person.asked)


def halves(truths=(PLAIN, PLAIN), lean=1):
    """Two elevator halves on one servo type: left square, right leaning, long rods."""
    common = {
        "kind": "elevator",
        "throws": {"up": "20 deg", "down": "20 deg"},
        "arm": {"holes": ["9 mm"], "hole": 1},
        "horn": {"holes": ["18 mm"], "hole": 1, "side": "bottom"},
        "mount": {"ahead": "50 m", "spindle": "along+", "arm_points": "off"},
        "rod": {"play": "0 mm"},
    }
    left = surface(**{**common, "name": "left half", "side": "left"})
    other = {"name": "right half", "side": "right", "servo": "E2", "channel": 2}
    right = surface(**{**common, **other})
    right["arm"] = {**right["arm"], "teeth_lean": lean}
    pair = {"left": "left half", "right": "right half", "moves": "together"}
    wide = servo(pulse_limits=["800 us", "2200 us"])
    return Rig(model(left, right, pairs=[pair], servos={"A1": wide, "E2": wide}), truths)


# Long-rod figures, computed apart: stroke = r (sin(lean + turn) - sin(lean)).
@pytest.mark.parametrize(("lean", "most", "least"), [(1, 12.00, 10.02)])
def test_ends_that_match_can_hide_a_middle_that_does_not(lean, most, least):
    rig = halves(lean=lean)
    check = rig.check()
    half = {point.stick: point for point in check.points}
    for stick, end in ((1.0, 20.0), (-1.0, -20.0)):
        assert half[stick].left.predicted_deg == pytest.approx(end, abs=0.03)
        assert half[stick].right.predicted_deg == pytest.approx(end, abs=0.03)
    assert half[0.5].left.predicted_deg == pytest.approx(10.60, abs=0.03)
    assert half[-0.5].left.predicted_deg == pytest.approx(-10.60, abs=0.03)
    seen = sorted(abs(half[stick].right.predicted_deg) for stick in (0.5, -0.5))
    assert seen == pytest.approx([least, most], abs=0.05)  # pulses are whole us
    for point in check.points:
        for side in (point.left, point.right):
            assert side.measured_deg == pytest.approx(side.predicted_deg, abs=0.051)
    assert abs(check.worst.stick) == 0.5
    assert abs(check.worst.difference_deg) == pytest.approx(1.40, abs=0.15)
    assert not check.passed


def test_a_pair_that_moves_together_is_compared_at_the_same_stick():
    rig = halves(lean=0)
    assert rig.check().passed
    rig = halves(truths=(PLAIN, ServoTruth(1500.0, 0.0, -0.09)), lean=0)
    check = rig.check()  # one servo turns the other way: the halves part
    assert not check.passed
    assert {side for _, side in check.wrong_way} == {"right"}


@pytest.mark.parametrize("points", [5, 7, 9, 21])
def test_points_are_even_and_symmetric(points):
    found = points_of(points).tolist()
    assert len(found) == points
    assert found[0] == -1
    assert found[-1] == 1
    assert 0 in found
    assert [-stick for stick in reversed(found)] == found
    steps = [b - a for a, b in itertools.pairwise(found)]
    assert max(steps) - min(steps) < 1e-12


@pytest.mark.parametrize("points", [-5, 0, 1, 3, 4, 6, 8])
def test_too_few_or_an_even_number_of_points_is_refused_before_anything_moves(points):
    rig = Rig(aileron_pair())
    with pytest.raises(TravelError, match=f"{points} points cannot show"):
        rig.check(points=points)
    assert rig.line.pulses_seen == {1: [], 2: []}


def test_more_points_are_all_asked():
    rig = Rig(aileron_pair())
    check = rig.check(points=9)
    assert len(check.points) == len(check.mismatches) == 9
    assert len(rig.notes) == 18


def test_what_one_side_cannot_do_is_refused_before_anything_moves():
    # 19.7 deg is the most that the left linkage does; the right one's horn is shorter still.
    rig = Rig(aileron_pair(right={"throws": {"up": "25 deg", "down": "11 deg"}}))
    with pytest.raises(LinkageError, match="right aileron: up 25"):
        rig.check()
    assert rig.line.pulses_seen == {1: [], 2: []}
    near = {"up": "15.5 deg", "down": "13 deg"}
    rig = Rig(aileron_pair(right={"free_travel": near}))
    with pytest.raises(TravelError, match=r"right aileron: up 15\.0 deg is too near the end"):
        rig.check()
    assert rig.line.pulses_seen == {1: [], 2: []}


def test_a_radio_goes_in_proportion_to_the_pulse():
    rig = Rig(aileron_pair())
    left, right = rig.settings
    for setting, sign in ((left, -1), (right, 1)):
        full = [stick_pulse_us(setting, stick, sign) for stick in (-1.0, 1.0)]
        assert stick_pulse_us(setting, 0.0, sign) == 1500
        for stick, end in ((-0.5, full[0]), (0.5, full[1])):
            assert stick_pulse_us(setting, stick, sign) == pytest.approx((1500 + end) / 2, abs=1)
    # Full stick asks right for up and left for down: with equal servos and mirrored
    # mounting both go the same way from centre, by their own throws.
    assert right.predicted_deg(stick_pulse_us(right, 1.0, 1), "rising") == pytest.approx(
        15, abs=0.05
    )
    assert left.predicted_deg(stick_pulse_us(left, 1.0, -1), "rising") == pytest.approx(
        -11, abs=0.05
    )


def test_every_point_is_reached_from_neutral_and_both_go_together():
    rig = Rig(aileron_pair())
    moments = []

    def answer(question):
        if question.channel == 1:
            moments.append(len(rig.line.pulses_seen[1]))
        return StandIn(rig.line.stations, 1).ask(question)

    rig.check(Person(answer))
    begin = 0
    for end in moments:
        for channel in (1, 2):
            assert rig.line.pulses_seen[channel][begin:end].count(1500.0) > 30
        begin = end
    assert rig.line.pulses_us == [0.0] * 8


def test_stopping_switches_both_off():
    rig = Rig(aileron_pair())

    def stop(_question):
        assert min(rig.line.pulses_us[:2]) > 0
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        rig.check(Person(stop))
    assert rig.line.pulses_us == [0.0] * 8

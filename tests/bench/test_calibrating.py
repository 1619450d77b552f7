"""Calibration on the simulated bench: truth found again, nothing driven too far or lost."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from hingeline.bench.asking import Gauge
from hingeline.bench.client import Board
from hingeline.bench.entering import Entry
from hingeline.bench.procedures.calibrating import calibrate
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.simulated.servo import ServoTruth, random_truth
from hingeline.bench.simulated.standin import StandIn
from hingeline.chord import deg_per_mm
from hingeline.errors import BenchError, TravelError
from hingeline.linkage.closure import ratio, surface_angle
from hingeline.travel.kinds import Kind
from hingeline.travel.schedule import FIRST_STEP_US, RUN_UP_US
from hingeline.travel.setting import setting_of
from tests.support.bench import Kept, Person, Watched, calibration, station
from tests.support.models import model, servo, surface

ARM = Gauge("arm", 0.5)


class Rig:
    """One aileron with a servo of known truth on the simulated bench."""

    def __init__(self, truth, *, seed=1, servo_file=None, **changes):
        self.model = model(
            surface(**{"rod": {"play": "0 mm"}, **changes}), servos={"A1": servo_file or servo()}
        )
        shape = self.model.surfaces[0]
        self.truth = truth
        self.setting = setting_of(shape, self.model.servo_of(shape), None)
        self.station = station(shape, self.model, truth, seed)
        self.line = Watched({1: self.station}, seed)
        self.board = Board(self.line)
        self.stand_in = StandIn({1: self.station}, seed)
        self.notes = Kept()

    def calibrate(self, gauge=ARM, *, asker=None, note=None, **how):
        plan = calibration(self.setting, gauge, **how)
        self.board.wait(0.05)  # pulses that were just ended end with their frame
        with in_use(self.board, [plan.channel]):
            return calibrate(
                self.board, plan, asker or self.stand_in, self.notes if note is None else note
            )

    def half_mark_deg(self, gauge, pulse_us):
        """Return half a mark of the gauge as degrees of the shaft."""
        if gauge.kind == "arm":
            return gauge.resolution / 2
        shape, linkage = self.setting.surface, self.setting.linkage
        shaft = math.radians(self.truth.driven_deg(pulse_us))
        mark = gauge.resolution
        if gauge.unit == "mm":
            at_deg = math.degrees(float(surface_angle(linkage, shaft)))
            mark *= deg_per_mm(at_deg, shape.chord_mm, gauge.kind)
        return mark / 2 / abs(float(ratio(linkage, shaft)))


def drawn(seed, rate):
    return random_truth(np.random.default_rng(seed), centre_us=1500.0, rate_deg_per_us=rate)


# Millimetres are read at a chord of 45 mm, degrees with a digital level; a surface turns less
# than half as far as its servo.
@pytest.mark.parametrize(
    "gauge", [ARM, Gauge("deg", 0.1), Gauge("drop", 0.5), Gauge("straight", 0.5)], ids=str
)
@pytest.mark.parametrize("rate", [0.09, -0.09])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_truth_is_found_again_within_its_uncertainty(seed, rate, gauge):
    truth = drawn(seed, rate)
    rig = Rig(truth, seed=seed)
    curve = rig.calibrate(gauge)
    # What the servo does inside its dead band depends on where its pulses fell.
    band = truth.dead_band_us * abs(truth.rate_deg_per_us)
    for approach in ("rising", "falling"):
        for pulse in np.linspace(*curve.limits_us, 25):
            error = float(curve.angle_deg(pulse, approach)) - truth.shaft_deg(pulse, approach)
            u = float(curve.angle_u_deg(pulse, approach))
            assert abs(error) <= 3.5 * u + band + rig.half_mark_deg(gauge, pulse)
            assert u < 2.0
    assert np.sign(curve.rate_deg_per_us) == np.sign(rate)
    assert curve.rate_deg_per_us == pytest.approx(truth.rate_deg_per_us, rel=0.06)
    assert curve.hysteresis_deg == pytest.approx(2 * truth.half_gap_deg, abs=band + 0.4)
    assert curve.suspects == ()


@pytest.mark.parametrize("rate", [0.09, -0.09])
def test_play_of_the_rod_shows_at_the_surface_only(rate):
    truth = ServoTruth(1500.0, 0.0, rate, half_gap_deg=0.3)
    rig = Rig(truth, rod={"play": "0.3 mm"})
    assert rig.calibrate(Gauge("arm", 0.1)).hysteresis_deg == pytest.approx(0.6, abs=0.1)
    rig = Rig(truth, rod={"play": "0.3 mm"})
    # 0.3 mm at the arm's 6.4 mm is 2.7 deg of servo.
    assert rig.calibrate(Gauge("deg", 0.1)).hysteresis_deg == pytest.approx(0.6 + 2.7, abs=0.3)


def test_the_first_step_is_small_and_is_read_before_anything_larger():
    rig = Rig(drawn(1, 0.09))
    seen = []

    def answer(question):
        seen.append([*rig.line.pulses_seen[1]])
        return rig.stand_in.ask(question)

    rig.calibrate(asker=Person(answer))
    assert (min(seen[1]), max(seen[1])) == (1500 - RUN_UP_US, 1500 + FIRST_STEP_US)
    assert max(seen[-1]) > 1900


WIDE = servo(pulse_limits=["600 us", "2400 us"])


LOCKS = {"hole": 1}  # a short arm: it turns back before the surface meets its stop
STOPS = {"hole": 3}  # a long one: with the shortest horn the surface meets its stop at about 30


@pytest.mark.parametrize("gauge", [ARM, Gauge("drop", 0.5)], ids=str)
@pytest.mark.parametrize("rate", [0.135, -0.135])
@pytest.mark.parametrize("centre_deg", [-9.0, 0.0, 9.0])
@pytest.mark.parametrize("half_gap_deg", [0.0, 0.6])
@pytest.mark.parametrize(("arm", "horn"), [(LOCKS, {"hole": 3}), (STOPS, {"hole": 1})])
def test_a_servo_faster_than_its_file_says_never_leaves_what_the_linkage_allows(
    rate, centre_deg, half_gap_deg, gauge, arm, horn
):
    truth = ServoTruth(
        1500.0, centre_deg, rate, half_gap_deg=half_gap_deg, stops_deg=(-135.0, 135.0)
    )
    rig = Rig(truth, servo_file=WIDE, arm=arm, horn=horn)
    low, high = rig.setting.allowed_shaft_deg()
    starts = []

    def answer(question):
        if not starts:
            starts.append(len(rig.line.shafts_seen[1]))
        return rig.stand_in.ask(question)

    curve = rig.calibrate(gauge, asker=Person(answer))
    # Before the first reading nobody knows where the arm stands.
    shafts = rig.line.shafts_seen[1][starts[0] :]
    assert low <= min(shafts)
    assert max(shafts) <= high
    assert max(map(abs, rig.line.surfaces_seen[1][starts[0] :])) < 30.0
    # And most of what is allowed is used.
    used = (max(shafts) - min(shafts)) / (high - low)
    assert used > (0.8 if gauge.kind == "arm" else 0.6)
    assert curve.rate_deg_per_us == pytest.approx(rate, rel=0.05)


def test_a_pulse_at_which_the_surface_tells_nothing_is_left_out_after_two_tries():
    truth = ServoTruth(1500.0, -9.0, -0.135, stops_deg=(-135.0, 135.0))
    rig = Rig(truth, servo_file=WIDE)
    person = Person(rig.stand_in.ask)
    rig.calibrate(Gauge("deg", 0.1), asker=person)
    left_out = [text for text in person.told if text.endswith("is left out.")]
    asked_twice = sum("near a dead point" in text for text in person.told)
    assert len(left_out) >= 1
    assert asked_twice == 2 * len(left_out)
    assert len(rig.notes.readings) == len(person.asked)  # what was typed in vain is kept as well


@pytest.mark.parametrize("seed", range(8))
def test_no_drawn_servo_meets_the_stop_of_its_surface(seed):
    truth = drawn(seed, 0.12 if seed % 2 else -0.12)
    rig = Rig(truth, seed=seed, servo_file=WIDE, rod={"play": "0.1 mm"})
    rig.calibrate()
    assert max(map(abs, rig.line.surfaces_seen[1])) < 30.0


def test_an_arm_fitted_too_far_off_is_told_before_it_is_moved_on():
    truth = ServoTruth(1500.0, 40.0, 0.09)
    rig = Rig(truth, arm=STOPS, horn={"hole": 1})
    with pytest.raises(TravelError, match=r"at 1500 us the arm stands 40\.0 deg from"):
        rig.calibrate()
    assert max(rig.line.pulses_seen[1]) <= 1500 + FIRST_STEP_US
    assert rig.line.pulses_us[0] == 0


def test_with_the_rod_off_the_pulse_limits_alone_hold():
    truth = ServoTruth(1500.0, 0.0, 0.135, stops_deg=(-135.0, 135.0))
    rig = Rig(truth, servo_file=WIDE)
    curve = rig.calibrate(rod_off=True)
    assert curve.range_us == (600, 2400)
    assert min(rig.line.pulses_seen[1]) == 600
    assert max(rig.line.pulses_seen[1]) == 2400


@pytest.mark.parametrize("at", [0, 1, 5])
def test_a_servo_that_keeps_turning_is_stopped_at_once(at):
    rig = Rig(drawn(1, 0.09))
    count = []

    def answer(question):
        count.append(question)
        return "turning" if len(count) == at + 1 else rig.stand_in.ask(question)

    with pytest.raises(TravelError, match="kept turning"):
        rig.calibrate(asker=Person(answer))
    assert len(count) == at + 1
    assert rig.line.pulses_us[0] == 0
    assert rig.board.state(1)["on"] == 0
    assert len(rig.notes.readings) == at + 1  # what was said is kept, too


def test_a_servo_that_does_not_move_is_named():
    rig = Rig(drawn(1, 0.09))
    with pytest.raises(TravelError, match="less than the gauge can tell"):
        rig.calibrate(asker=Person(lambda _question: "0"))
    assert rig.line.pulses_us[0] == 0


def test_each_answer_is_noted_before_the_next_question():
    rig = Rig(drawn(1, 0.09))
    asked = []

    def answer(question):
        assert len(rig.notes.readings) == len(asked)
        asked.append(question)
        return rig.stand_in.ask(question)

    curve = rig.calibrate(asker=Person(answer))
    assert len(rig.notes.readings) == len(asked) == len(curve.readings)


@pytest.mark.parametrize("error", [KeyboardInterrupt, BenchError("x"), RuntimeError])
def test_outputs_are_off_whatever_ends_it(error):
    rig = Rig(drawn(1, 0.09))

    def answer(question):
        if len(rig.notes.readings) == 6:
            assert rig.line.pulses_us[0] > 0
            raise error
        return rig.stand_in.ask(question)

    with pytest.raises((KeyboardInterrupt, BenchError, RuntimeError)):
        rig.calibrate(asker=Person(answer))
    assert rig.line.pulses_us == [0.0] * 8
    rig.calibrate()
    assert rig.line.pulses_us == [0.0] * 8


def entries(rig, kept):
    """Make what was kept into readings again, as the command does."""
    make = calibration(rig.setting, ARM).making
    stand = {remark.reading for remark in kept.remarks if remark.kind == "kept"}
    return [
        Entry(make(step.pulse_us, step.approach, answer), answer, row, row in stand)
        for row, (step, answer) in enumerate(kept.readings, 1)
    ]


#: Without closer looks.
PLAIN = Kind("plain", 13, rounds=0)


# With a wide servo the range depends on the very readings that are taken up again.
@pytest.mark.parametrize("kind", ["common", "wide"])
@pytest.mark.parametrize("stopped_after", [1, 2, 3, 9, 16, 20])
def test_taken_up_again_it_asks_for_what_is_missing_and_nothing_else(stopped_after, kind):
    wide = kind == "wide"
    truth = replace(drawn(4, 0.135 if wide else 0.09), noise_deg=0.3, stops_deg=(-130, 130))
    file = WIDE if wide else servo(pulse_limits=["1000 us", "2000 us"])
    rig, kept = Rig(truth, servo_file=file), Kept()

    def answer(question):
        if len(kept.readings) == stopped_after:
            raise KeyboardInterrupt
        return rig.stand_in.ask(question)

    with pytest.raises(KeyboardInterrupt):
        rig.calibrate(asker=Person(answer), note=kept, kind=PLAIN)
    assert len(kept.readings) == stopped_after
    earlier = entries(rig, kept)
    asked = Person(rig.stand_in.ask)
    curve = rig.calibrate(asker=asked, earlier=earlier, kind=PLAIN)
    # Beside that, whether servo and arm are the same: centre and the small step.
    checks = [one for one in asked.asked if one.text.startswith("To see that all is as it was")]
    assert len(checks) == min(stopped_after, 2)
    assert len(asked.asked) - len(checks) == len(curve.readings) - stopped_after
    assert rig.notes.kinds[: len(checks)] == ["checked"] * len(checks)
    places = [(reading.pulse_us, reading.approach) for reading in curve.readings]
    # Centre is met once more on the way up.
    assert len(places) - len(set(places)) <= 1
    assert list(curve.readings[:stopped_after]) == [entry.reading for entry in earlier]


def stopped(rig, after, kind=PLAIN):
    """Calibrate until so many readings are taken, stop, and return them."""
    kept = Kept()

    def answer(question):
        if len(kept.readings) == after:
            raise KeyboardInterrupt
        return rig.stand_in.ask(question)

    with pytest.raises(KeyboardInterrupt):
        rig.calibrate(asker=Person(answer), note=kept, kind=kind)
    return entries(rig, kept)


def test_taken_up_with_other_points_and_stopped_it_keeps_what_was_read():
    rig = Rig(drawn(4, 0.09))
    earlier = stopped(rig, 14)
    count = []

    def answer(question):
        if question.text.startswith("To see"):
            return rig.stand_in.ask(question)
        count.append(question)
        return "stop here"

    asker = Person(answer)
    curve = rig.calibrate(asker=asker, earlier=earlier, kind=Kind("seven", 8, rounds=0))
    assert len(count) == 1
    assert {reading.pulse_us for reading in curve.readings} == {
        entry.reading.pulse_us for entry in earlier
    }
    assert len(curve.readings) == 14


@pytest.mark.parametrize("order", ["redo 1900", "undo"])
def test_taken_up_again_an_order_knows_all_that_was_read(order):
    rig = Rig(drawn(4, 0.09))
    earlier = stopped(rig, 8)  # 1500, 1550, 1600, 1700 ... 2100
    count = []

    def answer(question):
        if question.text.startswith("To see"):
            return rig.stand_in.ask(question)
        count.append(question)
        return order if len(count) == 1 else rig.stand_in.ask(question)

    rig.calibrate(asker=Person(answer), earlier=earlier, kind=Kind("seven", 8, rounds=0))
    pulse = "1900 us" if order == "redo 1900" else "2100 us"
    assert pulse in count[1].text
    assert "not done" not in rig.notes.kinds
    assert ("redo" if order == "redo 1900" else "undone") in rig.notes.kinds


@pytest.mark.parametrize(
    "change",
    [
        {"centre_deg": 14.4},  # one tooth of 25 on
        {"rate_deg_per_us": 0.225},
        {"rate_deg_per_us": -0.09},
        {"rate_deg_per_us": 0.135},
    ],
    ids=str,
)
def test_another_servo_or_a_refitted_arm_is_not_gone_on_with(change):
    truth = ServoTruth(1500.0, 0.0, 0.09, half_gap_deg=0.4, stops_deg=(-130.0, 130.0))
    earlier = stopped(Rig(truth), 14)
    other = Rig(replace(truth, **change))
    low, high = other.setting.allowed_shaft_deg()
    with pytest.raises(TravelError, match=r"when this calibration was begun"):
        other.calibrate(earlier=earlier, kind=PLAIN)
    assert low <= min(other.line.shafts_seen[1])
    assert max(other.line.shafts_seen[1]) <= high
    assert max(other.line.pulses_seen[1]) <= 1550
    assert set(other.notes.kinds) == {"checked"}
    assert other.notes.readings == []


def test_before_the_servo_is_seen_to_be_the_same_it_is_sent_nowhere_else():
    rig = Rig(drawn(4, 0.09))
    earlier = stopped(rig, 14)
    start = len(rig.line.pulses_seen[1])
    orders = ["redo 2100", "undo", "note cold", "skip"]

    def answer(question):
        if orders:
            assert max(rig.line.pulses_seen[1][start:]) <= 1500
            return orders.pop(0)
        return rig.stand_in.ask(question)

    curve = rig.calibrate(asker=Person(answer), earlier=earlier, kind=PLAIN)
    assert rig.notes.kinds[:4] == ["not done", "not done", "note", "not done"]
    assert len(curve.readings) == 26


def test_a_slip_at_the_look_whether_all_is_as_it_was_may_be_put_right():
    rig = Rig(drawn(4, 0.09))
    earlier = stopped(rig, 5)
    slips = ["45"]

    def answer(question):
        return slips.pop() if slips else rig.stand_in.ask(question)

    curve = rig.calibrate(asker=Person(answer), earlier=earlier, kind=PLAIN)
    assert rig.notes.kinds[:3] == ["checked"] * 3
    assert len(curve.readings) == 26


def test_a_slip_that_no_linkage_can_do_is_noted_and_asked_again():
    rig = Rig(drawn(1, 0.09))
    typed = []

    def answer(question):
        if len(typed) == 3:
            typed.append("slip")
            return "up 89 deg"
        typed.append("true")
        return rig.stand_in.ask(question)

    person = Person(answer)
    curve = rig.calibrate(Gauge("deg", 0.1), asker=person)
    assert any("beyond what the linkage can reach" in text for text in person.told)
    assert len(rig.notes.readings) == len(curve.readings) + 1
    assert rig.notes.typed[3] == "up 89 deg"
    assert [(one.kind, one.reading) for one in rig.notes.remarks] == [("replaced", 4)]


def test_a_slip_that_is_kept_leaves_out_no_more_than_what_lies_beyond_it_and_says_so():
    rig = Rig(drawn(1, 0.09))
    slipped = []

    def answer(question):
        if "keep" in question.text:
            return "keep"
        if len(rig.notes.readings) == 4 and not slipped:
            slipped.append(question)
            return "90"  # for 9.0, say
        return rig.stand_in.ask(question)

    person = Person(answer)
    curve = rig.calibrate(asker=person)
    (slip,) = [reading for reading in curve.readings if reading.as_typed == "90"]
    beyond = [text for text in person.told if "it may lead beyond what is allowed" in text]
    assert beyond
    assert all(int(text.split()[0]) > slip.pulse_us for text in beyond)
    assert min(reading.pulse_us for reading in curve.readings) == 900
    assert [suspect.as_typed for suspect in curve.suspects] == ["90"]


def test_progress_counts_up_to_all_readings():
    rig = Rig(drawn(1, 0.09))
    seen = []
    plan = calibration(rig.setting, ARM, kind=Kind("seven", 7))
    with in_use(rig.board, [plan.channel]):
        curve = calibrate(
            rig.board, plan, rig.stand_in, rig.notes, lambda *counts: seen.append(counts)
        )
    assert [done for done, _ in seen] == list(range(1, len(curve.readings) + 1))
    assert {whole for _, whole in seen[3:]} == {len(curve.readings)}

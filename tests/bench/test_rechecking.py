"""Three points of a surface: come to as on record, read, and asked about where a slip shows."""

import itertools

import pytest

from hingeline.bench.asking import Gauge
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import channel_of, in_use
from hingeline.bench.rigging.prompting import Ordered, Prompter
from hingeline.bench.rigging.rechecking import Three, read_play, read_three
from hingeline.bench.simulated.listener import Listener
from hingeline.bench.simulated.servo import ServoTruth
from hingeline.model.words import sign_of
from hingeline.rigging.threepoints import too_far
from tests.support.bench import Person, Watched, station
from tests.support.models import model, servo, surface

GAUGE = Gauge("deg", 0.1)
PLAY_DEG = 1.2


class Bench:
    """A surface whose gears have play, and what is kept of it."""

    def __init__(self, asker=None, **changes):
        self.model = model(surface(**changes), servos={"A1": servo()})
        self.shape = self.model.surfaces[0]
        self.servo = self.model.servo_of(self.shape)
        truth = ServoTruth(1500.0, 0.0, 0.09, half_gap_deg=PLAY_DEG)
        self.line = Watched({1: station(self.shape, self.model, truth)})
        self.asker = asker or Listener(self.line.stations, 1)
        self.board = Board(self.line)
        self.kept, self.noted = [], []

    def keep(self, pulse_us, approach, answer, replaces, because):
        self.kept.append((pulse_us, approach, answer.typed, replaces, because))
        return len(self.kept)

    def read(self, three=None, gauge=GAUGE):
        three = three or Three(self.shape, (1700, 1500, 1350), (8.0, 0.0, -6.0))
        channel = channel_of(self.servo, 1, "A1")
        prompter = Prompter(self.asker, self.noted.append)
        with in_use(self.board, [channel]):
            return read_three(self.board, three, gauge, prompter, self.keep)


def resting(pulses):
    """Return the pulses at which a channel stood still, one after the other."""
    found = []
    for pulse, following in itertools.pairwise(pulses):
        if pulse == following and (not found or found[-1] != pulse):
            found.append(pulse)
    return found


def test_points_are_come_to_in_the_order_of_the_record():
    bench = Bench()
    bench.read()
    assert resting(bench.line.pulses_seen[1]) == [1500, 1700, 1500, 1350, 1500]
    assert [row[:2] for row in bench.kept] == [
        (1700, "rising"),
        (1500, "falling"),
        (1350, "falling"),
    ]


def test_play_shows_at_each_point_on_the_side_from_which_it_is_come_to():
    loose, stiff = Bench(), Bench()
    stiff.line.stations[1].servo.truth = ServoTruth(1500.0, 0.0, 0.09)
    tight = stiff.read()
    first = 1.0 if tight[0] > 0 else -1.0
    out, back, other = (
        first * (now - then) for now, then in zip(loose.read(), tight, strict=True)
    )
    assert out < -0.3  # short of where it is driven, outward
    assert back == pytest.approx(-out, abs=0.3)  # back at neutral still towards that end
    assert other == pytest.approx(-out, abs=0.3)  # and short of the other one


def test_readings_are_positive_in_the_first_direction():
    bench = Bench()
    readings = bench.read()
    sign = sign_of(bench.shape, "up")
    up = [sign * one for one in bench.line.surfaces_seen[1]]
    assert readings[0] * readings[2] < 0
    assert max(readings) == pytest.approx(max(up), abs=0.1)
    assert min(readings) == pytest.approx(min(up), abs=0.1)


def test_a_number_without_its_direction_is_asked_for_again():
    person = Person(["8", "up 8", "0", "down 6"])
    bench = Bench(person)
    assert bench.read() == (8.0, 0.0, -6.0)
    assert [row[2] for row in bench.kept] == ["up 8", "0", "down 6"]
    assert [note.text for note in bench.noted] == ["8"]


@pytest.mark.parametrize(
    ("typed", "slip"),
    [("up 80", "decimal point"), ("down 8", "sign"), ("up 0.8", "decimal point")],
)
def test_what_a_slip_would_explain_is_asked_about_once(typed, slip):
    person = Person([typed, "yes", "0", "down 6"])
    bench = Bench(person)
    assert bench.read() == (8.0, 0.0, -6.0)
    assert slip in " ".join(person.told)
    assert [row[2:] for row in bench.kept][:2] == [(typed, None, ""), ("up 8", 1, "yes")]


def test_what_is_kept_stands_as_it_was_typed():
    bench = Bench(Person(["up 10.8", "keep", "0", "down 6"]))
    three = Three(bench.shape, (1700, 1500, 1350), (7.8, 0.0, -6.0))
    assert bench.read(three) == (10.8, 0.0, -6.0)


@pytest.mark.parametrize("typed", [["down 8", "keep", "0"], ["up 1", "0"], ["up 13", "0"]])
def test_what_is_far_off_at_the_first_end_is_not_driven_to_the_other(typed):
    person = Person(typed)  # has no more answers: nothing else is asked, the sign but once
    bench = Bench(person)
    assert bench.read()[1:] == (0.0,)
    assert resting(bench.line.pulses_seen[1]) == [1500, 1700, 1500]
    assert "is not driven to the other end" in " ".join(person.told)


@pytest.mark.parametrize(
    ("then_deg", "now_deg", "far"),
    [(30, 20.5, False), (30, 19.5, True), (8, 4.5, False), (8, 12.5, True), (2, -0.5, False)],
)
def test_far_is_ten_degrees_or_half_the_throw_but_never_less_than_three(then_deg, now_deg, far):
    assert too_far(then_deg, now_deg) is far


def test_an_order_ends_it_and_the_outputs_go_off():
    bench = Bench(Person(["up 8", "skip rain"]))
    with pytest.raises(Ordered):
        bench.read()
    assert [row[2] for row in bench.kept] == ["up 8"]
    seen = len(bench.line.pulses_seen[1])
    bench.board.rest(1.0)
    assert len(bench.line.pulses_seen[1]) == seen


def test_free_play_is_read_in_degrees_whatever_the_gauge():
    bench = Bench(Person(["0.8"]))
    gauge = Gauge("drop", 0.1)
    prompter = Prompter(bench.asker, bench.noted.append)
    with in_use(bench.board, [channel_of(bench.servo, 1, "A1")]):
        found = read_play(bench.board, bench.shape, gauge, prompter)
    # 0.8 mm of drop at 45 mm of chord: arcsin(0.8 / 45).
    assert found == pytest.approx(1.0187, abs=1e-3)

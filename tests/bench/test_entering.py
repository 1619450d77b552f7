"""Typing readings: a slip is questioned, what was typed stays, and anything can be taken back."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.bench.asking import Gauge
from hingeline.bench.client import Board
from hingeline.bench.orders import HELP, order_of
from hingeline.bench.procedures.calibrating import calibrate
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.simulated.servo import ServoTruth
from hingeline.bench.simulated.standin import StandIn
from hingeline.errors import TravelError
from hingeline.travel.kinds import Kind
from hingeline.travel.setting import setting_of
from tests.support.bench import Kept, Person, Watched, calibration, station
from tests.support.models import model, servo, surface

ARM = Gauge("arm", 0.5)
#: 1500, 1550, then up to 2000, down to 1000 and up again in steps of 100 us, without closer looks.
PLAIN = Kind("plain", 11, rounds=0)
TRUTH = ServoTruth(1500.0, 1.0, 0.09, half_gap_deg=0.4, bow_deg=0.4)
PLACE = re.compile(r"(\d+) us")


class Work:
    """A calibration in which the person types what a script says, and the truth otherwise.

    Parameters
    ----------
    script : dict of int to str or callable
        By number of the question for a reading, from 0: what is typed there instead of the
        truth, or what makes it of the truth.
    answers : sequence of str
        What is typed when a reading is questioned, in order; the truth when they are used up.
    """

    def __init__(self, script, answers=(), *, gauge=ARM, truth=TRUTH, maker=None, **how):
        file = servo(pulse_limits=["1000 us", "2000 us"])
        made = model(surface(rod={"play": "0 mm"}), servos={"A1": file})
        shape = made.surfaces[0]
        self.setting = setting_of(shape, made.servo_of(shape), None)
        self.line = Watched({1: station(shape, made, truth)})
        stand_in = StandIn(self.line.stations, 3)
        self.notes = Kept()
        self.seen = []  # how many pulses had gone out at each question for a reading
        self.shown = set()  # what the gauge showed, as it would be typed
        left = list(answers)

        def answer(question):
            true = stand_in.ask(question).replace(",", ".")
            self.shown.add(true)
            if "keep" in question.text:
                return left.pop(0) if left else true
            typed = script.get(len(self.seen))
            self.seen.append(len(self.line.pulses_seen[1]))
            return true if typed is None else typed(true) if callable(typed) else typed

        self.person = Person(answer)
        board = Board(self.line)
        plan = calibration(self.setting, gauge, **{"kind": PLAIN, **how})
        plan = replace(plan, maker_deg_per_us=maker)
        with in_use(board, [plan.channel]):
            self.curve = calibrate(board, plan, self.person, self.notes)

    @property
    def asked(self):
        """The pulses asked about, in order, without the questions about doubts."""
        return [
            int(PLACE.search(question.text)[1])
            for question in self.person.asked
            if "keep" not in question.text
        ]

    @property
    def told(self):
        """What was told, without the echoes."""
        return [text for text in self.person.told if " read as " not in text]

    def typed_in_curve(self):
        """What was typed for each reading that the curve has."""
        return [reading.as_typed for reading in self.curve.readings]

    def pulses_between(self, number):
        """Which pulses went out between a question and the next, without repetition."""
        seen = self.line.pulses_seen[1][self.seen[number] : self.seen[number + 1]]
        return [round(p) for p, q in zip(seen, [*seen[1:], None], strict=True) if p != q]


HONEST = Work({})
VALUES = [reading.angle_deg for reading in HONEST.curve.readings]
#: Hardly anything is rounded away, so that the side from which a pulse was reached can be seen.
FINE = Gauge("arm", 0.05)


def test_honest_readings_are_not_questioned():
    assert HONEST.notes.remarks == []
    assert len(HONEST.person.asked) == len(HONEST.curve.readings) == 22


@pytest.mark.parametrize(
    ("number", "slip", "name"),
    [
        (2, lambda true: f"{float(true) * 10:g}", "decimal point"),
        (4, lambda true: f"{float(true) / 10:g}", "decimal point"),
        (5, lambda true: f"-{true}", "sign"),
        (15, lambda true: true.replace("-", ""), "sign"),
        (15, lambda true: true.replace("34", "43"), "digits swapped"),
        (8, lambda _true: "285", "decimal point"),  # off a scale of 0 to 360 it is -75
    ],
)
def test_a_slip_is_questioned_with_what_was_meant_and_yes_takes_it(number, slip, name):
    work = Work({number: slip}, ["yes"])
    questioned, replaced = work.notes.remarks
    assert (questioned.kind, questioned.reading) == ("questioned", number + 1)
    assert questioned.figures["slip"] == name
    assert questioned.figures["expected_deg"] == pytest.approx(VALUES[number], abs=2.0)
    assert float(questioned.figures["likely"]) == pytest.approx(VALUES[number], abs=1e-9)
    assert (replaced.kind, replaced.reading, replaced.text) == ("replaced", number + 1, "yes")
    assert work.notes.typed[number] == slip(HONEST.notes.typed[number].replace(",", "."))
    assert [reading.angle_deg for reading in work.curve.readings] == pytest.approx(VALUES)
    assert any(name in text and "meant" in text for text in work.told)
    assert f"yes ({questioned.figures['likely']})" in work.person.asked[number + 1].text


@pytest.mark.parametrize(
    ("gauge", "slip"),
    [
        (Gauge("deg", 0.5), lambda true: true.replace("up", "down")),
        (Gauge("drop", 0.25), lambda true: true.replace("up", "down")),
        (Gauge("straight", 0.25), lambda true: f"{true.replace('up', '').strip()} down"),
    ],
)
def test_a_wrong_direction_word_is_questioned_at_the_surface(gauge, slip):
    honest = Work({}, gauge=gauge).notes.typed
    number = next(place for place, text in enumerate(honest) if place > 4 and "up" in text)
    work = Work({number: slip}, ["yes"], gauge=gauge)
    assert work.notes.kinds == ["questioned", "replaced"]
    assert "up" in work.notes.remarks[0].figures["likely"]
    assert work.notes.remarks[0].figures["slip"] == "sign"


def test_what_is_kept_counts_and_stays_beside_the_answer():
    work = Work({4: "-27.5"}, ["?", "keep"])
    assert work.notes.kinds == ["questioned", "kept"]
    assert [one.reading for one in work.notes.remarks] == [5, 5]
    assert "-27.5" in work.typed_in_curve()
    assert [suspect.as_typed for suspect in work.curve.suspects] == ["-27.5"]
    assert any("keep: it stands" in text for text in work.told)


def test_typing_the_same_again_keeps_it_and_typing_another_replaces_it():
    work = Work({4: "-27.5"}, ["-27,50"])
    assert [(one.kind, one.text) for one in work.notes.remarks[1:]] == [("kept", "-27,50")]
    work = Work({4: "-27.5"}, ["nonsense", "72.5", "27.5"])
    assert work.notes.kinds == [
        "questioned",
        "not understood",
        "replaced",
        "questioned",
        "replaced",
    ]
    assert work.notes.typed[4:7] == ["-27.5", "72.5", "27.5"]
    assert "27.5" in work.typed_in_curve()
    assert not {"-27.5", "72.5"} & set(work.typed_in_curve())


def test_a_servo_on_its_stop_is_told_and_not_asked():
    truth = ServoTruth(1500.0, 0.0, 0.09, half_gap_deg=0.3, stops_deg=(-30.0, 32.0))
    work = Work({}, truth=truth)
    assert work.notes.remarks == []
    assert len(work.told) == 2
    assert all("may stand on its stop" in text for text in work.told)


def test_a_pair_exchanged_is_offered_back():
    truth = ServoTruth(1500.0, 0.0, 0.09, half_gap_deg=1.2)
    gauge = Gauge("arm", 0.25)
    honest = Work({}, gauge=gauge, truth=truth)
    typed = [text.replace(",", ".") for text in honest.notes.typed]
    assert (honest.asked[14], honest.asked[18]) == (1200, 1200)
    work = Work({14: typed[18], 18: typed[14]}, ["keep", "yes"], gauge=gauge, truth=truth)
    *_, questioned, first, second = work.notes.remarks
    assert (questioned.kind, questioned.figures["slip"]) == ("questioned", "up/down swapped")
    assert [(one.kind, one.text) for one in (first, second)] == [("replaced", "yes")] * 2
    assert {first.reading, second.reading} == {15, 19}
    assert work.notes.typed[14::4][:2] == [typed[18], typed[14]]
    assert [one.angle_deg for one in work.curve.readings] == [
        one.angle_deg for one in honest.curve.readings
    ]


@pytest.mark.parametrize(
    ("typed", "what", "pulse_us", "approach", "text"),
    [
        ("undo", "undo", None, None, ""),
        (" UNDO ", "undo", None, None, ""),
        ("skip", "skip", None, None, ""),
        ("stop here", "stop here", None, None, ""),
        ("Stop  here", "stop here", None, None, ""),
        ("redo", "redo", None, None, ""),
        ("redo 1700", "redo", 1700, None, ""),
        ("redo 1700 us", "redo", 1700, None, ""),
        ("redo 760 up", "redo", 760, "rising", ""),
        ("redo 1700 us down", "redo", 1700, "falling", ""),
        ("note the glue was Wet", "note", None, None, "the glue was Wet"),
    ],
)
def test_orders(typed, what, pulse_us, approach, text):
    order = order_of(typed)
    assert (order.what, order.pulse_us, order.approach, order.text) == (
        what,
        pulse_us,
        approach,
        text,
    )
    assert order.typed == typed
    assert what in HELP


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "?",
        "12.5",
        "up 12",
        "undo it",
        "redo 17",
        "redo 1700 left",
        "redo １７００",
        "note",
        "stop",
    ],
)
def test_no_orders(typed):
    assert order_of(typed) is None


def test_undo_takes_the_last_reading_back_and_reads_its_pulse_again_from_the_same_side():
    work = Work({5: "undo", 6: "27.55"}, gauge=FINE)
    assert work.asked[4:8] == [1800, 1900, 1800, 1900]
    assert [(one.kind, one.reading) for one in work.notes.remarks] == [
        ("undone", 5),
        ("replaced", 5),
    ]
    assert work.notes.typed[5] == "27.55"
    # From 1900 it goes below 1800 first: the reading is of a rising pulse.
    assert min(work.pulses_between(5)) == 1770
    assert work.curve.readings[4].as_typed == "27.55"


def test_undo_again_and_again_goes_back_to_the_beginning_and_no_farther():
    script = dict.fromkeys(range(3, 8), "undo")
    work = Work(script, gauge=FINE)
    assert work.asked[:10] == [1500, 1550, 1600, 1700, 1600, 1550, 1500, 1500, 1500, 1550]
    assert work.told.count("Nothing has been read yet.") == 2
    assert [one.angle_deg for one in work.curve.readings] == pytest.approx(
        [one.angle_deg for one in Work({}, gauge=FINE).curve.readings]
    )


def test_what_a_wrong_reading_had_left_out_is_read_once_it_is_put_right():
    work = Work({3: "88", 4: "undo"}, ["keep"])
    left_out = [text for text in work.told if "may lead beyond" in text]
    assert left_out
    assert any("Once more through the range" in text for text in work.told)
    assert [one.angle_deg for one in work.curve.readings] == pytest.approx(VALUES)
    # And nothing is asked for twice on that second walk.
    assert len(work.asked) == len(work.curve.readings) + 2
    # Neither is what was left out by the person.
    work = Work({3: "skip", 4: "88", 5: "undo"}, ["keep"])
    assert len(work.curve.readings) == 21


def test_redo_reads_an_earlier_pulse_and_counts_the_earlier_reading_until_then():
    work = Work({10: "redo 1800 up", 11: "27.45"}, gauge=FINE)
    assert work.asked[10:13] == [1600, 1800, 1600]
    assert [(one.kind, one.reading) for one in work.notes.remarks] == [
        ("redo", 5),
        ("replaced", 5),
    ]
    assert work.curve.readings[4].as_typed == "27.45"  # in its old place
    assert len(work.curve.readings) == 22
    left = Work({10: "redo 1800", 11: "skip"}, gauge=FINE)
    assert left.notes.remarks[0].reading == 9  # the later one of the two
    assert [one.kind for one in left.notes.remarks] == ["redo", "skipped"]
    assert any("stands as before" in text for text in left.told)
    assert len(left.curve.readings) == 22


def test_redo_of_what_was_never_read_says_what_was():
    work = Work({3: "redo 1234", 4: "redo 1600 down"})
    assert "There is no such reading (redo 1234). Read so far: 1500, 1550, 1600 us." in work.told
    assert sum("redo 1600 down" in text for text in work.told) == 1
    assert [(one.kind, one.text) for one in work.notes.remarks] == [
        ("not done", "redo 1234"),
        ("not done", "redo 1600 down"),
    ]


def test_skip_leaves_a_pulse_out_and_redo_fetches_it():
    work = Work({5: "skip", 6: "skip", 8: "redo 2000"})
    assert len(work.curve.readings) == 21
    assert [one.kind for one in work.notes.remarks] == ["skipped", "skipped", "redo"]
    assert work.notes.remarks[0].figures == {"pulse_us": 1900, "approach": "rising"}
    pulses = [(one.pulse_us, one.approach) for one in work.curve.readings]
    assert (1900, "rising") not in pulses
    assert pulses[5] == (2000, "rising")


def test_the_first_three_readings_cannot_be_left_out():
    work = Work({0: "skip", 2: "skip", 4: "skip"})
    assert sum("cannot be left out" in text for text in work.told) == 3
    assert work.notes.kinds == ["not done"] * 3
    # Not later either, while the range rests on them: not even one that was taken back.
    late = Work({5: "redo 1550", 6: "skip", 7: "skip"})
    assert late.notes.kinds == ["redo", "skipped", "skipped"]
    assert len(late.curve.readings) == 21
    taken = Work({2: "undo", 3: "skip"})
    assert taken.notes.kinds == ["undone", "not done", "replaced"]
    assert len(work.curve.readings) == 22


def test_a_note_is_kept_where_it_was_made():
    work = Work({3: "note the table shook"})
    (note,) = work.notes.remarks
    assert (note.kind, note.text) == ("note", "the table shook")
    assert note.figures == {"pulse_us": 1700, "approach": "rising"}


def test_stop_here_fits_what_there_is():
    work = Work({9: "stop here"})
    assert len(work.curve.readings) == 9
    assert work.notes.kinds == ["stopped"]
    early = Work({2: "stop here", 15: "stop here"})
    assert any("3 are the least" in text and "Ctrl-C" in text for text in early.told)
    assert len(early.curve.readings) == 14


def test_stop_here_in_the_second_round_keeps_what_the_first_one_read():
    # The range is walked once more because of the slip; there it is stopped at once.
    first = Work({3: "88", 4: "undo"}, ["keep"])
    number = next(
        place for place, text in enumerate(first.person.told) if "Once more through" in text
    )
    known = sum(" read as " in text for text in first.person.told[:number]) - 1  # the slip is out
    work = Work({3: "88", 4: "undo", known + 2: "stop here"}, ["keep"])
    assert any("Once more through the range" in text for text in work.told)
    assert work.notes.kinds[-1] == "stopped"
    assert len(work.curve.readings) == known
    typed = [row for row in range(1, len(work.notes.readings) + 1) if row != 4]
    assert len(typed) == known


def test_in_the_second_round_an_order_knows_what_the_walk_has_not_come_to_again():
    script = {3: "88", 4: "undo"}
    first = Work(script, ["keep"])
    second_round = (
        len(first.curve.readings) + 2 - sum("may lead beyond" in text for text in first.told)
    )
    work = Work({**script, second_round: "redo 1000"}, ["keep"], gauge=FINE)
    assert "not done" not in work.notes.kinds
    assert ("redo", 1000) in [
        (one.kind, work.notes.readings[one.reading - 1][0].pulse_us)
        for one in work.notes.remarks
        if one.kind == "redo"
    ]


@pytest.mark.parametrize("order", ["undo", "redo 1550"])
def test_a_reading_on_which_the_range_rests_put_right_begins_the_walk_again(order):
    # Ten times too much at the small step, kept: the walk would end near centre.
    script = {1: "12", 3: "redo 1550"} if order != "undo" else {1: "12", 2: "undo"}
    work = Work(script, ["keep"])
    assert set(VALUES) <= {one.angle_deg for one in work.curve.readings}
    assert "12" not in work.typed_in_curve()
    late = Work({1: "13", 5: "redo 1550"}, ["keep"] * 5)
    assert any("which rested on that reading" in text for text in late.told)
    pulses = [one.pulse_us for one in late.curve.readings]
    assert (min(pulses), max(pulses)) == (1000, 2000)
    assert "13" not in late.typed_in_curve()


def test_a_small_step_far_from_what_the_maker_says_is_questioned_once():
    for slip in ("0.6", "55", "-25"):
        work = Work({1: slip}, ["5"], maker=0.09)
        assert work.notes.kinds == ["questioned", "replaced"]
        assert work.notes.remarks[0].figures["maker_deg_per_us"] == 0.09
        assert any("the model file says 0.090" in text for text in work.told)
        assert [one.angle_deg for one in work.curve.readings] == pytest.approx(VALUES)
    assert Work({}, maker=0.09).notes.remarks == []
    assert Work({}, maker=-0.2).notes.remarks == []
    slow = Work({}, ["keep"], maker=0.5)
    assert slow.notes.kinds == ["questioned", "kept"]
    # The other one of the two was wrong: that one is read again, and nothing more is asked.
    other = Work({0: "-20"}, ["redo 1500"], maker=0.09)
    assert other.notes.kinds == ["questioned", "redo", "replaced"]
    assert [one.angle_deg for one in other.curve.readings] == pytest.approx(VALUES)


def test_little_range_is_told():
    work = Work({1: "-20"}, ["keep"] * 30)
    assert any("Look whether one of the first readings is wrong" in text for text in work.told)
    assert not any("Look whether one of the first" in text for text in HONEST.told)


def test_orders_at_a_doubt():
    undone = Work({4: "-27.5"}, ["undo"])
    assert undone.notes.kinds == ["questioned", "undone", "replaced"]
    assert [one.angle_deg for one in undone.curve.readings] == pytest.approx(VALUES)
    skipped = Work({4: "-27.5"}, ["skip"])
    assert skipped.notes.kinds == ["questioned", "undone", "skipped"]
    assert len(skipped.curve.readings) == 21
    stopped = Work({9: "-19.5"}, ["stop here"])
    assert "-19.5" in stopped.typed_in_curve()  # nobody said that it is wrong
    # The reading in doubt was right, and an earlier one wrong: that one is read again.
    other = Work({1: "-5"}, ["redo 1550"])
    assert other.notes.kinds == ["questioned", "redo", "replaced"]
    assert other.notes.remarks[1].reading == 2
    assert [one.angle_deg for one in other.curve.readings] == pytest.approx(VALUES)


def test_help_tells_of_the_orders():
    work = Work({0: "?"})
    for word in ("undo", "redo 1700", "skip", "note", "stop here"):
        assert word in work.told[0]


def test_a_slip_that_nothing_can_have_made_is_not_lost():
    work = Work({4: "1e3", 5: "300000"})
    assert [(one.kind, one.text) for one in work.notes.remarks] == [
        ("not understood", "1e3"),
        ("not understood", "300000"),
    ]


def test_what_is_typed_at_a_doubt_and_cannot_be_is_kept_beside_it():
    gauge = Gauge("deg", 0.1)
    work = Work({4: lambda true: true.replace("up", "down")}, ["up 89"], gauge=gauge)
    assert "not used" in work.notes.kinds
    assert work.notes.remarks[1].text == "up 89"


def test_a_servo_that_turns_at_a_doubt_stops_everything():
    with pytest.raises(TravelError, match="kept turning"):
        Work({4: "-27.5"}, ["turning"])


ORDERS = st.sampled_from(
    ["undo", "redo", "redo 1800", "redo 1500", "redo 1300 up", "skip", "note x", "?", "77", "-3"]
)
AT_DOUBTS = st.sampled_from(["keep", "yes", "undo", "skip", "redo", "redo 1600", "55", "?"])


@given(
    st.dictionaries(st.integers(0, 40), ORDERS, max_size=8),
    st.lists(AT_DOUBTS, max_size=8),
)
@settings(max_examples=25)
def test_whatever_is_ordered_what_counts_was_typed_and_read_from_its_side(script, answers):
    try:
        work = Work(script, answers, gauge=FINE)
    except TravelError:  # the first two were left wrong, or too much is wrong
        return
    notes = work.notes
    aside = {one.reading for one in notes.remarks if one.kind in ("undone", "replaced")}
    counting = [
        (step.pulse_us, step.approach, answer.value)
        for row, (step, answer) in enumerate(notes.readings, 1)
        if row not in aside
    ]
    curve = [(one.pulse_us, one.approach, one.angle_deg) for one in work.curve.readings]
    assert sorted(curve) == sorted(counting)
    assert min(work.line.pulses_seen[1]) >= 1000
    assert max(work.line.pulses_seen[1]) <= 2000
    pulses = sorted({pulse_us for pulse_us, _, _ in curve})
    if min(b - a for a, b in itertools.pairwise(pulses)) < 40:
        return  # by a slip in the first two, so close that the steps do not take up the play
    for reading in work.curve.readings:
        # A proposal that was taken is what the program made of a number.
        if reading.as_typed in work.shown:
            true = TRUTH.shaft_deg(reading.pulse_us, reading.approach)
            assert reading.angle_deg == pytest.approx(true, abs=0.06)

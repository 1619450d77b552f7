"""Dead band and binding on the simulated bench: its truth is found again, and nothing is hurt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hingeline.bench.asking import Gauge, level_question, surface_question, understand
from hingeline.bench.client import Board
from hingeline.bench.levelling import find_zero
from hingeline.bench.procedures.binding import HOLD_S, Listening, listen
from hingeline.bench.procedures.channels import channel_of, in_use
from hingeline.bench.procedures.deadband import MOVED, RUN_UP_US, find_thresholds
from hingeline.bench.simulated.listener import Listener
from hingeline.bench.simulated.servo import ServoTruth
from hingeline.errors import BenchError, TravelError, UnitError
from hingeline.travel.binding import Heard
from hingeline.travel.level import Zero
from tests.support.bench import Watched, station
from tests.support.models import model, servo, surface


class Rig:
    """An aileron with a servo of known truth, and someone who watches and listens."""

    def __init__(self, truth, **changes):
        self.model = model(
            surface(**{"rod": {"play": "0 mm"}, **changes}),
            servos={"A1": servo(pulse_limits=["900 us", "2100 us"])},
        )
        shape = self.model.surfaces[0]
        self.station = station(shape, self.model, truth, 1)
        self.line = Watched({1: self.station}, 1)
        self.board = Board(self.line)
        self.said = []
        self.person = Listener({1: self.station}, 1, self.said.append)
        self.channel = channel_of(self.model.servo_of(shape), 1, "A1")
        self.kept = []

    def keep(self, *what):
        self.kept.append(what)

    def thresholds(self, pulse_us=1500, person=None):
        with in_use(self.board, [self.channel]):
            found = find_thresholds(
                self.board, self.channel, pulse_us, person or self.person, self.keep
            )
        self.board.wait(0.1)  # until the pins are released for certain
        return found

    def listen(self, person=None, **how):
        plan = Listening(self.channel, self.channel.limits_us, **how)
        with in_use(self.board, [self.channel]):
            found = listen(self.board, plan, person or self.person, self.keep)
        self.board.wait(0.1)
        return found


class Says(Listener):
    """Someone who now and then says something else than what is so."""

    def __init__(self, rig, other):
        super().__init__({1: rig.station}, 1, rig.said.append)
        self._other = other

    def pick(self, choice):
        return self._other(choice) or super().pick(choice)


class TestDeadBand:
    @pytest.mark.parametrize("rate", [0.09, -0.09])
    @pytest.mark.parametrize(
        ("dead_band_us", "half_gap_deg"), [(3.0, 0.0), (5.0, 0.1), (2.0, 0.5), (0.0, 1.0)]
    )
    @pytest.mark.parametrize("pulse_us", [1500, 1200])
    def test_what_the_electronics_and_the_play_swallow_is_found(
        self, rate, dead_band_us, half_gap_deg, pulse_us
    ):
        truth = ServoTruth(1500.0, 1.0, rate, dead_band_us=dead_band_us, half_gap_deg=half_gap_deg)
        down, up = Rig(truth).thresholds(pulse_us)
        # The electronics rest up to their dead band short of the pulse, so a step back must
        # make up for that as well. A movement under 0.05 deg is not seen.
        play_us = (2 * half_gap_deg + 0.05) / 0.09
        for found in (down, up):
            assert found.moved_us > max(dead_band_us, play_us) - 0.01
            assert found.still_us < max(2 * dead_band_us, play_us + dead_band_us) + 0.01

    def test_few_questions_each_kept_and_nothing_moved_far(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, dead_band_us=4.0))
        rig.thresholds()
        assert len(rig.kept) <= 12
        assert {(typed, word) for _, typed, word in rig.kept} == {
            ("moved", "moved"),
            ("still", "still"),
        }
        assert {trial.step_us < 0 for trial, *_ in rig.kept} == {True, False}
        seen = rig.line.pulses_seen[1]
        assert (min(seen), max(seen)) == (1500 - RUN_UP_US, 1500 + RUN_UP_US)
        assert rig.line.pulses_us[0] == 0

    def test_again_makes_the_same_step_once_more(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, dead_band_us=4.0))
        plain = rig.thresholds()
        count, rig.kept = len(rig.kept), []
        doubts = iter([True, False] * 50)
        person = Says(rig, lambda _choice: "a" if next(doubts) else None)
        assert rig.thresholds(person=person) == plain
        assert len(rig.kept) == 2 * count
        trials = [trial for trial, *_ in rig.kept]
        assert trials[0::2] == trials[1::2]

    def test_a_servo_without_power_is_told(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, dead_band_us=500.0))
        with pytest.raises(TravelError, match="did not move by a step of 40 us"):
            rig.thresholds()
        assert rig.line.pulses_us[0] == 0
        assert rig.kept  # what was typed is kept all the same

    @pytest.mark.parametrize("pulse_us", [959, 2041])
    def test_without_room_for_the_run_up_nothing_moves(self, pulse_us):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        with pytest.raises(TravelError, match="960 to 2040 us"):
            rig.thresholds(pulse_us)
        assert rig.line.pulses_seen[1] == []

    def test_steps_are_no_finer_than_the_board_s(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, half_gap_deg=0.3))
        rig.board.tick_ns = 2441.0
        down, _ = rig.thresholds()
        assert (down.still_us, down.moved_us) == (6, 8)
        assert all(trial.step_us % 2 == 0 for trial, *_ in rig.kept)


class TestListening:
    def test_a_free_linkage_is_quiet_and_the_rod_stays_on(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        low, high = rig.listen()
        assert (low.cause, high.cause) == ("free", "free")
        assert (low.rod_on, high.rod_on) == (Heard(900, None), Heard(2100, None))
        assert all(rod_on for _, rod_on, *_ in rig.kept)
        assert rig.station.rod_on

    def test_a_surface_that_binds_is_told_from_the_servo_s_own_end(self):
        # The surface meets something at 12 deg one way; the servo ends at 40 deg the other.
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-40.0, 80.0)))
        rig.station.free_deg = (-90.0, 12.0)
        low, high = rig.listen()
        sides = {side.cause: side for side in (low, high)}
        assert set(sides) == {"linkage", "servo"}
        assert sides["servo"].rod_on == sides["servo"].rod_off == Heard(1050, 1000)
        stop = sides["linkage"].stop_us
        assert sides["linkage"].rod_off.buzzing_us is None
        # With the rod on at the limit that is proposed it is free, and a step further not.
        rig.station.senses.heard_buzzing()
        quiet, buzzing = (
            _deflection(rig, stop),
            _deflection(rig, sides["linkage"].rod_on.buzzing_us),
        )
        assert quiet <= 13.0 < buzzing
        assert rig.station.rod_on  # and the rod is on again

    def test_nothing_is_held_for_long_nor_while_it_is_asked(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-30.0, 30.0)))
        at_question = []

        def look(_choice):
            at_question.append(rig.line.pulses_us[0])
            return None

        rig.listen(Says(rig, look))
        assert set(at_question) == {1500.0, 0.0}  # at centre, or off while the rod is changed
        assert at_question.count(0.0) == 2
        buzzing = [pulse for pulse in rig.line.pulses_seen[1] if abs(pulse - 1500) >= 350]
        passes = sum(word == "buzzing" for *_, word in rig.kept)
        assert passes == 4
        # A hundred moments a second: the time that it was held, and moving there and back.
        assert len(buzzing) / 100.0 <= passes * (HOLD_S + 1.0)

    def test_once_it_buzzes_it_is_not_sent_further_out(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-30.0, 30.0)))
        rig.listen()
        assert max(rig.line.pulses_seen[1]) == 1850
        assert min(rig.line.pulses_seen[1]) == 1150

    def test_hot_stops_the_pulses_at_once(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        off = []

        def hot(_choice):
            return "h" if len(rig.kept) == 3 else None

        rig.board.off, real = (
            (lambda channels: (off.append(rig.kept[-1][3]), real(channels))),
            (rig.board.off),
        )
        with pytest.raises(BenchError, match="hot at 1350 us; its pulses are off"):
            rig.listen(Says(rig, hot))
        assert off[0] == "hot"
        assert rig.line.pulses_us[0] == 0
        assert [word for *_, word in rig.kept] == ["quiet"] * 3 + ["hot"]

    def test_with_the_rod_off_from_the_beginning_one_pass_is_enough(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-40.0, 80.0)))
        rig.station.rod_on = False
        low, high = rig.listen(rod_on=False)
        assert low.rod_on is high.rod_on is None
        assert (low.cause, high.cause) == ("servo", "free")
        assert (low.stop_us, high.stop_us) == (1050, 2100)

    def test_a_servo_that_hunts_at_centre_gets_no_limits(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        low, high = rig.listen(
            Says(rig, lambda choice: "buzzing" if "1500 us" in choice.text else None)
        )
        assert low.stop_us is high.stop_us is None
        assert (low.cause, high.cause) == ("servo", "servo")
        assert {pulse for pulse, *_ in rig.kept} == {1500, None}
        rod = [(rod_on, typed) for pulse, rod_on, typed, _ in rig.kept if pulse is None]
        assert rod == [(True, "off"), (False, "on")]  # as it was when asked

    def test_a_finer_step_finds_the_end_more_closely(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-80.0, 40.0)))
        _, high = rig.listen(step_us=10, hold_s=0.5)
        # A degree beyond its end it buzzes: 41 deg are 1956 us.
        assert high.rod_on == Heard(1950, 1960)


def _deflection(rig, pulse_us):
    """Return how far from neutral the surface is sent at a pulse."""
    with in_use(rig.board, [rig.channel]):
        rig.board.hold({1: pulse_us})
        rig.board.wait(0.5)
        deflection = abs(rig.station.surface_deg)
    rig.board.wait(0.1)
    return deflection


class TestLevel:
    LEVEL = Gauge("level", 0.1)

    @pytest.mark.parametrize("shown_deg", [0.0, 2.3, 184.0, 359.9])
    @pytest.mark.parametrize("sense", [-1, 1])
    def test_its_zero_is_found_and_then_tells_the_deflection(self, shown_deg, sense):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        rig.station.level = Zero(shown_deg, sense, 0.0)
        shape = rig.model.surfaces[0]
        gauge = find_zero(shape, self.LEVEL, rig.person, rig.keep)
        assert gauge.zero.sense == sense
        assert gauge.zero.shown_deg == pytest.approx(shown_deg, abs=0.05)
        assert len(rig.kept) == 2
        for deflection in (-21.4, 0.0, 13.7):
            rig.station.surface_deg = deflection
            question = surface_question(shape, 1, gauge, assumed=None)
            answer = understand(question, rig.person.ask(question))
            assert answer.value == pytest.approx(deflection, abs=0.11)
            assert answer.unit == "deg"

    def test_what_is_not_understood_about_its_zero_is_kept_as_well(self):
        rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
        typed = iter(["?", "up 3", "2,5"])
        words = iter(["up", "rises"])
        rig.person.ask = lambda _question: next(typed)
        rig.person.pick = lambda _choice: next(words)
        find_zero(rig.model.surfaces[0], self.LEVEL, rig.person, rig.keep)
        assert rig.kept == [
            ("up 3", "not understood"),
            ("2,5", 2.5),
            ("up", "not understood"),
            ("rises", "rises"),
        ]

    def test_what_it_shows_is_echoed_with_what_it_means(self):
        shape = Rig(ServoTruth(1500.0, 0.0, 0.09)).model.surfaces[0]
        gauge = replace(self.LEVEL, zero=Zero(2.0, 1, 0.3))
        question = level_question("the level", 1, gauge, shape)
        down = understand(question, "357,5")
        assert down.value == -4.5
        assert down.echo.startswith("357.5 deg, which is ")
        assert down.echo.endswith(" 4.5 deg")
        assert understand(question, "2").echo == "2 deg, which is neutral"

    @pytest.mark.parametrize(
        ("typed", "message"),
        [("up 3", "says a direction"), ("361", "more than can be here"), ("nan", "not a number")],
    )
    def test_what_no_level_shows_is_asked_again(self, typed, message):
        shape = Rig(ServoTruth(1500.0, 0.0, 0.09)).model.surfaces[0]
        question = level_question("the level", 1, self.LEVEL, shape)
        with pytest.raises(UnitError, match=message):
            understand(question, typed)


def test_a_protractor_with_a_scale_of_0_to_360_is_understood():
    from hingeline.bench.asking import arm_question

    question = arm_question("A1", 1, 1500, Gauge("arm", 0.5))
    answer = understand(question, "359.5")
    assert (answer.value, answer.echo) == (-0.5, "-0.5 deg")
    with pytest.raises(UnitError, match="more than can be here"):
        understand(question, "200")


def test_a_stand_in_does_not_make_answers_up():
    from hingeline.bench.choices import Choice

    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
    with pytest.raises(ValueError, match="cannot know"):
        rig.person.pick(Choice("Is it blue", 1, ("yes", "no")))
    assert MOVED not in rig.said

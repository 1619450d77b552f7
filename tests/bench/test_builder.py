"""The stand-in for the builder in a guided run, prompt by prompt."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from hingeline.bench.asking import Gauge, Question, lean_question, surface_question, understand
from hingeline.bench.choices import Choice
from hingeline.bench.simulated import faults
from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.builder import Builder
from hingeline.bench.simulated.station import planned_free_deg, well_built
from hingeline.linkage.mounting import lean_deg, tooth_deg
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.rigging.naming import REOPENS
from tests.support.models import model, servo, surface

MODEL = parse_model(example_text(), source="example")
GAUGE = Gauge("deg", 0.5)


@pytest.fixture
def bench():
    return made(MODEL)


def made(of, **more):
    stations = well_built(of, 20)
    for station in stations.values():
        hold(station)
    return SimpleNamespace(stations=stations, builder=Builder(stations, 20, **more), model=of)


def hold(station, pulse_us=1500.0):
    for _ in range(200):
        station.advance(pulse_us, 0.01)


def at_surface(bench, name, topic, **detail):
    one = bench.model.surface(name)
    asked = surface_question(one, one.channel, GAUGE, assumed=detail.get("word"))
    return Question(
        asked.text,
        one.channel,
        GAUGE,
        asked.signs,
        assumed=asked.assumed,
        most=asked.most,
        topic=topic,
        detail={"surface": name, **detail},
    )


def read(bench, question):
    return understand(question, bench.builder.ask(question)).value


def pick(bench, topic, words=("yes",), channel=1, **detail):
    return bench.builder.pick(Choice("?", channel, words, topic=topic, detail=detail))


def do(bench, driven, **mend):
    return pick(bench, "doing", ("done",), surface=driven, **mend)


@pytest.mark.parametrize(
    ("topic", "words", "said"),
    [
        ("leads", ("seen",), "seen"),
        ("class", ("listed", "different"), "listed"),
        ("arms off", ("off",), "off"),
        ("screws", ("done",), "done"),
        ("travel", ("quick", "usual"), "quick"),
        ("travel", ("record", "quick"), "record"),
        ("broken off", ("again", "stop"), "again"),
    ],
)
def test_what_a_careful_builder_says(bench, topic, words, said):
    assert pick(bench, topic, words) == said


def test_how_far_a_bare_surface_goes_is_read_to_the_gauge(bench):
    station = bench.stations[3]
    station.free_deg = (-17.3, 21.9)  # the elevator's horn is on top: down is pushed
    assert read(bench, at_surface(bench, "elevator", "bare", word="down")) == pytest.approx(22.0)
    assert abs(read(bench, at_surface(bench, "elevator", "bare", word="up"))) == 17.5


def test_the_lean_is_that_of_the_arm_as_it_stands(bench):
    one = bench.model.surface("rudder")
    question = lean_question(one, Gauge("arm", 0.5))
    upright = read(bench, question)
    bench.stations[4].rebuild(Build(lean_deg=tooth_deg(bench.model.servos["R1"])))
    assert read(bench, question) - upright == pytest.approx(14.4, abs=0.5)


def test_which_servo_moved_goes_by_what_hangs_there_and_whether_it_moved(bench):
    labels = ("A1", "A2", "E1", "R1", "none")
    bench.stations[1], bench.stations[2] = bench.stations[2], bench.stations[1]
    station = bench.stations[1]
    hold(station, 1500.0)
    station.advance(0.0, 0.5)
    assert pick(bench, "which servo", labels, channel=6) == "none"
    hold(station, 1560.0)
    assert pick(bench, "which servo", labels, channel=1) == "A2"


def test_direction_is_seen_and_not_what_it_should_be(bench):
    asked = {"surface": "rudder", "command": "yaw right"}
    hold(bench.stations[4], 1700.0)
    first = pick(bench, "direction", ("left", "right", "still"), 4, **asked)
    hold(bench.stations[4], 1300.0)
    second = pick(bench, "direction", ("left", "right", "still"), 4, **asked)
    assert {first, second} == {"left", "right"}
    bench.stations[4].surface_deg = 0.2
    assert pick(bench, "direction", ("left", "right", "still"), 4, **asked) == "still"


def test_holes_are_counted_as_they_are(bench):
    planned = {"surface": "elevator", "arm_hole": 2, "horn_hole": 3}
    words = ("fitted", "different")
    assert pick(bench, "holes", words, 3, **planned) == "fitted"
    bench.stations[3].rebuild(Build(horn_hole=2))
    assert pick(bench, "holes", words, 3, **planned) == "different"
    numbers = ("1", "2", "3")
    assert pick(bench, "arm hole", numbers, 3, surface="elevator") == "2"
    assert pick(bench, "horn hole", numbers, 3, surface="elevator") == "2"


def test_buzzing_is_heard_once_and_belongs_to_what_was_listened_to(bench):
    station = bench.stations[4]
    heard = {"surface": "rudder", "word": "left"}
    station.free_deg = (-5.0, 5.0)
    hold(station, 1900.0)
    assert pick(bench, "binding", ("quiet", "buzzing", "hot"), 4, **heard) == "buzzing"
    hold(station, 1500.0)
    assert pick(bench, "binding", ("quiet", "buzzing", "hot"), 4, **heard) == "quiet"
    hold(station, 1900.0)
    pick(bench, "screws", ("done",))  # asked about something else in between
    hold(station, 1500.0)
    assert pick(bench, "binding", ("quiet", "buzzing", "hot"), 4, **heard) == "quiet"


def test_a_servo_is_measured_with_its_rod_off_and_then_put_on(bench):
    station = bench.stations[4]
    arm = Question("where is the arm", 4, Gauge("arm", 0.5), {}, signed=True)
    bench.builder.ask(arm)
    assert station.rod_on is False
    before = station.surface_deg
    hold(station, 1800.0)
    assert station.surface_deg == before
    pick(bench, "holes", ("fitted", "different"), 4, surface="rudder", arm_hole=2, horn_hole=2)
    assert station.rod_on is True
    assert abs(station.surface_deg) > 10.0


# -- mends --------------------------------------------------------------------------------


def test_a_refit_turns_the_arm_by_whole_teeth_and_no_more(bench):
    station = bench.stations[4]
    before = station.lean_deg
    do(bench, "rudder", name="refit", teeth=-2, part_arm=None)
    assert station.lean_deg - before == pytest.approx(-28.8)


def test_a_refit_with_another_arm_of_the_part_goes_on_from_the_one_in_use():
    """Two arms in a row: the second one is counted from the first as it is now."""
    four = model(surface(), servos={"A1": servo(arm_count=4)})
    bench = made(four)
    station = bench.stations[1]
    before = station.lean_deg
    # Arm 2 stands a quarter of a turn ahead of arm 1: 6 of 25 teeth back leave 3.6 deg.
    do(bench, "left aileron", name="refit", teeth=-6, part_arm=2)
    assert station.lean_deg - before == pytest.approx(3.6)
    do(bench, "left aileron", name="refit", teeth=0, part_arm=2)
    assert station.lean_deg - before == pytest.approx(3.6)
    do(bench, "left aileron", name="refit", teeth=6, part_arm=1)
    assert station.lean_deg - before == pytest.approx(0.0, abs=1e-9)


def test_holes_horn_and_rod_go_where_the_mend_says(bench):
    station = bench.stations[3]
    do(bench, "elevator", name="hole", part="horn", hole=1)
    do(bench, "elevator", name="hole", part="arm", hole=3)
    do(bench, "elevator", name="set-back", move_mm=-1.5)
    do(bench, "elevator", name="set-back", move_mm=-0.5)
    do(bench, "elevator", name="rod", by_mm=0.8, turns=2.0)
    assert station.build == Build(arm_hole=3, horn_hole=1, set_back_mm=-2.0, rod_mm=0.8)


def test_the_rod_goes_to_the_other_side_and_back(bench):
    do(bench, "rudder", name="rod side")
    assert bench.stations[4].build.other_side is True
    do(bench, "rudder", name="rod side")
    assert bench.stations[4].build == Build()


def test_plugs_are_exchanged_for_whoever_uses_the_same_table(bench):
    one, other = bench.stations[1], bench.stations[2]
    do(bench, "left aileron", name="swap leads", channels=[1, 2])
    assert bench.stations[1] is other
    assert bench.stations[2] is one


@pytest.mark.parametrize("name", ["hinge", "free"])
def test_what_binds_is_freed(bench, name):
    station = bench.stations[4]
    station.free_deg = (-3.0, 3.0)
    do(bench, "rudder", name=name)
    assert station.free_deg == planned_free_deg(station.surface)


def test_play_of_the_joints_is_taken_out(bench):
    station = bench.stations[4]
    planned = station.slop_deg
    station.rebuild(Build(play_mm=0.5))
    assert station.slop_deg > planned + 1.0
    do(bench, "rudder", name="joints")
    assert station.slop_deg == pytest.approx(planned)


def test_another_servo_turns_the_way_that_the_file_says(bench):
    for name, channel in (("elevator", 3), ("rudder", 4)):
        before = bench.stations[channel].servo.truth
        do(bench, name, name="servo")
        after = bench.stations[channel].servo.truth
        assert after != before
        assert after.rate_deg_per_us * before.rate_deg_per_us > 0


def test_every_mend_that_is_done_by_hand_can_be_done(bench):
    figures = {
        "refit": {"teeth": 1, "part_arm": None},
        "hole": {"part": "horn", "hole": 1},
        "set-back": {"move_mm": 1.0},
        "rod": {"by_mm": 1.0, "turns": None},
        "swap leads": {"channels": [1, 2]},
    }
    by_pulse = {"trim", "aim"}
    for name in sorted(set(REOPENS) - by_pulse):
        assert do(bench, "elevator", name=name, **figures.get(name, {})) == "done"


def test_a_mend_that_nobody_knows_is_refused(bench):
    with pytest.raises(ValueError, match="cannot do: paint"):
        do(bench, "elevator", name="paint")


def test_the_first_mend_is_taken_once_and_then_the_next(bench):
    asked = {"surface": "rudder", "mends": [{"name": "rod", "by_mm": 1.0}, {"name": "joints"}]}
    words = ("1", "2", "leave")
    assert [pick(bench, "mend", words, 4, **asked) for _ in range(3)] == ["1", "2", "leave"]
    # The same mend by another amount is another one.
    asked["mends"][0] = {"name": "rod", "by_mm": 0.4}
    assert pick(bench, "mend", words, 4, **asked) == "1"


# -- slips --------------------------------------------------------------------------------


def test_a_slip_is_typed_once_and_looked_at_again_when_it_is_doubted():
    slips = {("throw", "rudder"): ["left 99", lambda typed: f"{typed}0"]}
    bench = made(MODEL, slips=slips)
    question = at_surface(bench, "rudder", "throw", share=1.0)
    doubted = at_surface(bench, "rudder", "throw", share=1.0, doubt=True)
    hold(bench.stations[4], 1700.0)
    assert bench.builder.ask(question) == "left 99"
    true = abs(round(bench.stations[4].surface_deg * 2) / 2)
    assert abs(read(bench, doubted)) == true
    assert bench.builder.ask(question).endswith("0")
    assert abs(read(bench, question)) == true


def test_what_is_asked_elsewhere_is_not_slipped():
    bench = made(MODEL, slips={("seat", "rudder"): ["aft 40"]})
    question = lean_question(bench.model.surface("elevator"), Gauge("arm", 0.5))
    assert abs(read(bench, question)) < 10.0


@pytest.mark.parametrize(
    ("typed", "slipped"),
    [("up 12.5", "up 125"), ("12,5 up", "125 up"), ("up 13", "up 130"), ("13 up", "130 up")],
)
def test_a_lost_point_makes_ten_times_as_much(typed, slipped):
    (slip,) = faults.mistyped("rudder").slips[("throw", "rudder")]
    assert slip(typed) == slipped


@pytest.mark.parametrize("fault", faults.faults(), ids=lambda fault: fault.name)
def test_every_fault_makes_something_otherwise(fault):
    """A fault that plants nothing and says nothing wrong would prove nothing."""
    sound, faulty = well_built(MODEL, 20), well_built(MODEL, 20)
    fault.plant(faulty)
    changed = any(looks(sound[channel]) != looks(faulty[channel]) for channel in sound) or bool(
        fault.slips
    )
    assert changed
    assert MODEL.surface(fault.surface)
    for topic, name in fault.slips:
        assert name == fault.surface, topic


def looks(station):
    return station.servo.truth, station.build, station.free_deg, station.surface.name


def test_misread_leans_of_a_wrong_differential_have_the_planned_side():
    fault = faults.wrong_differential("left aileron")
    stations = well_built(MODEL, 20)
    fault.plant(stations)
    hold(stations[1])
    builder = Builder(stations, 20, slips=fault.slips)
    question = lean_question(MODEL.surface("left aileron"), Gauge("arm", 0.5))
    planned = lean_deg(MODEL.surface("left aileron"), MODEL.servos["A1"])
    assert stations[1].lean_deg == pytest.approx(-planned, abs=4.0)
    assert understand(question, builder.ask(question)).value == pytest.approx(planned, abs=4.0)

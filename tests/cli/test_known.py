"""What a guided run found out is known to every command, as long as the file says no other."""

import pytest

from hingeline import kinds
from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.faults import early_stop, short_servo, station_of, tooth_off
from hingeline.cli import models
from hingeline.cli.curves import curve_of
from hingeline.cli.known import setting_of
from hingeline.errors import Stopped
from hingeline.records.store import Records
from tests.cli.running import run
from tests.cli.test_curves import CURVE
from tests.support.rigging import MODEL, play

STOP_THERE = {("seat", "left aileron"): ["stop"]}


@pytest.fixture
def known(folder):
    """Look a surface up by all that is known."""

    def look(name, *, simulated=True):
        file = models.load(folder / "millrace.toml")
        with Records(folder / "records.sqlite") as records:
            return setting_of(records, file, file.model.surface(name), simulated=simulated)

    return look


@pytest.fixture
def change(folder):
    """Change the file of the model in the table of one surface."""

    def changed(surface, old, new):
        path = folder / "millrace.toml"
        head, mark, rest = path.read_text("utf-8").partition(f'name = "{surface}"')
        assert old in rest
        path.write_text(head + mark + rest.replace(old, new, 1), "utf-8")

    return changed


def thrown(surface):
    return run("throw", "millrace.toml", surface, "--port", "sim:20", "--yes", "--json")


def test_an_arm_left_a_tooth_off_is_sent_as_the_rig_sent_it(folder):
    play("--calibration", "quick")
    again = play(
        "--afresh",
        "--calibration",
        "record",
        script={("mend", "elevator"): ["2"]},
        build=tooth_off(1, "elevator").plant,
    )
    assert (again.code, again.error) == (0, None)
    with Records(folder / "records.sqlite") as records:
        rigged = records.latest_finding("rigged", "elevator", simulated=True)["figures"]
        raw = records.latest_curve("E1", simulated=True)["curve"]["centre_us"]
    assert abs(rigged["centre_us"] - raw) > 100
    for throw in thrown("elevator").figures["surfaces"][0]["throws"]:
        assert throw["pulse_us"] == pytest.approx(rigged["ends_us"][throw["direction"]], abs=25)


def test_without_a_curve_an_arm_a_tooth_off_is_counted_in_as_well(folder):
    script = {("mend", "elevator"): ["2"], "travel": ["skip later"] * 4}
    play(script=script, build=tooth_off(1, "elevator").plant)
    with Records(folder / "records.sqlite") as records:
        rig = records.newest_rig("Millrace", simulated=True)
        neutral = [
            row["figures"]
            for row in records.rig_steps(rig["id"])
            if (row["surface"], row["step"]) == ("elevator", "neutral")
        ]
    assert abs(neutral[0]["pulse_us"] - MODEL.servos["E1"].centre_us) > 100
    # What a maker's rate and a servo's own centre leave, and no tooth.
    assert abs(neutral[0]["measured_deg"]) < 6.0


def test_a_bare_surface_left_stopping_early_is_not_sent_against_its_stop(known, change):
    plant = early_stop("right aileron").plant
    play(script={("mend", "right aileron"): ["leave"], **STOP_THERE}, build=plant)
    free = known("right aileron").setting.surface.free_travel
    assert float(free["up"]) == pytest.approx(10.0, abs=0.5)
    assert known("right aileron").remarks == ()
    ran = thrown("right aileron")
    assert ran.code != 0
    assert "too near the end of its free travel" in ran.talk
    # Begun afresh and the surface not looked at again, the stop is still there.
    play("--afresh", script={("bare", "right aileron"): ["skip seen"], **STOP_THERE}, build=plant)
    assert known("right aileron").setting.surface.free_travel == free
    # Other throws in the file do not move a stop.
    change("right aileron", 'up = "15 deg"', 'up = "14 deg"')
    assert known("right aileron").setting.surface.free_travel == free


def test_the_rig_itself_reckons_with_the_stop_of_an_earlier_one():
    plant = early_stop("rudder").plant
    play(script={("mend", "rudder"): ["leave"], **STOP_THERE}, build=plant)
    again = play("--afresh", script={("bare", "rudder"): ["skip seen"]}, build=plant)
    assert "too near the end of its free travel" in again.talk


def test_free_travel_stated_anew_takes_the_place_of_what_was_measured(known, change):
    script = {("mend", "right aileron"): ["leave"], **STOP_THERE}
    play(script=script, build=early_stop("right aileron").plant)
    change("right aileron", 'up = "30 deg"', 'up = "28 deg"')
    after = known("right aileron")
    assert float(after.setting.surface.free_travel["up"]) == 28.0
    (remark,) = after.remarks
    assert "the model file has changed in free travel since it was rigged" in remark


def test_holes_and_trim_as_found_hold_until_the_file_changes(folder, known, change):
    def build(stations):
        station_of(stations, "elevator").rebuild(Build(horn_hole=2))
        station_of(stations, "rudder").rebuild(Build(rod_mm=1.2))

    ended = play("--calibration", "quick", script={("mend", "rudder"): ["2"]}, build=build)
    assert ended.error is None
    elevator, rudder = known("elevator"), known("rudder")
    assert elevator.setting.surface.horn.hole == 2 != MODEL.surface("elevator").horn.hole
    assert "horn hole 2" in " ".join(elevator.remarks)
    with Records(folder / "records.sqlite") as records:
        raw = curve_of(records, "R1", simulated=True).centre_us
        found = records.latest_finding("rigged", "rudder", simulated=True)["figures"]
    assert abs(rudder.setting.centre_us - raw) > 5
    assert rudder.setting.centre_us == pytest.approx(found["centre_us"], abs=15)
    assert "neutral trimmed by" in " ".join(rudder.remarks)
    change("rudder", 'material = "steel"', 'material = "carbon"')
    change("elevator", "set_back = ", "set_back = ")  # written anew, but the same
    after = known("rudder")
    assert after.setting.centre_us == pytest.approx(raw, abs=0.1)
    assert "the model file has changed in rod since" in " ".join(after.remarks)
    assert known("elevator").setting.surface.horn.hole == 2


def test_both_sides_are_matched_as_they_are_built(folder, known):
    play("--calibration", "quick")
    command = ("match", "millrace.toml", "--simulated", "--json")
    before = run(*command).figures["sides"]
    with Records(folder / "records.sqlite") as records:
        rig = records.start_session("rig", bench="simulated", model_name="Millrace", model_text="")
        found = records.latest_finding(kinds.BUILT, "left aileron", simulated=True)["figures"]
        records.note_finding(rig, kinds.BUILT, "left aileron", {**found, "trim_us": 30.0})
    after = run(*command)
    assert after.figures["sides"][0]["centre_us"] == before[0]["centre_us"] + 30
    assert after.figures["sides"][1]["centre_us"] == before[1]["centre_us"]
    assert "left aileron: counted in as found when rigged" in after.talk
    assert known("left aileron").remarks


def test_the_curve_of_a_servo_that_was_replaced_stays_void(folder):
    play("--calibration", "quick")
    with Records(folder / "records.sqlite") as records:
        old = records.latest_curve("R1", simulated=True)["session_id"]
    # Another servo is fitted, nobody measures it, and a new rig is begun.
    script = {("mend", "rudder"): ["2"], "travel": ["record"], ("which servo", "rudder"): ["R1"]}
    stop = _Stop("doing", "rudder", topic="seat")
    play("--afresh", script=script, build=short_servo("rudder").plant, before=stop)
    assert stop.seen
    play("--afresh", "--calibration", "record", script=STOP_THERE)
    with Records(folder / "records.sqlite") as records:
        assert records.latest_curve("R1", simulated=True)["session_id"] == old
        assert curve_of(records, "R1", simulated=True) is None
    assert "R1 is not calibrated" in thrown("rudder").talk
    assert "Another servo was fitted in its place on" in run("records", "servo", "R1").out


class _Stop:
    """Ends a sitting at a topic, once a mend of a surface was done."""

    def __init__(self, after, surface, *, topic):
        self.after, self.surface, self.topic = after, surface, topic
        self.seen = False

    def __call__(self, topic, surface):
        if surface == self.surface and topic == self.after:
            self.seen = True
        elif self.seen and topic == self.topic:
            raise Stopped("stopped by the test")


def test_a_curve_from_another_model_says_where_it_comes_from(folder, known):
    with Records(folder / "records.sqlite") as records:
        for name in ("Heron", "Millrace"):
            there = records.start_session("calibrate", model_name=name, model_text=name)
            records.note_curve(there, {"Heron": "A1", "Millrace": "A2"}[name], CURVE.to_dict())
            day = records.session(there)["started"][:10]
    found = known("left aileron", simulated=False)
    assert found.row.session_id == 1
    assert found.remarks == (f"The curve of A1 was measured on {day} on Heron, session 1.",)
    assert known("right aileron", simulated=False).remarks == ()

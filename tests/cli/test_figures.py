"""What the commands find out, on the simulated bench, against what is really so there."""

import json

import pytest

from hingeline.bench.simulated.station import stations_of
from hingeline.model.reading import read_model
from tests.cli.running import run

SIM = ("--port", "sim:", "--yes")
WITH_U = [
    "centre_us",
    "centre_error_deg",
    "rate_deg_per_us",
    "hysteresis_deg",
    "limits_us",
    "reach_deg",
    "linearity_deg",
]


def calibrated(servo, *options):
    ran = run("calibrate", "millrace.toml", servo, "--json", *SIM, *options)
    assert ran.code == 0
    return ran


def truth_of(folder, servo, seed=0):
    model = read_model(folder / "millrace.toml")
    channel = next(s.channel for s in model.surfaces if s.servo == servo)
    return stations_of(model, seed)[channel].servo.truth


def test_plan_gives_the_promised_keys():
    plan = run("plan", "millrace.toml", "--json").figures
    assert [surface["name"] for surface in plan["surfaces"]] == [
        "left aileron",
        "right aileron",
        "elevator",
        "rudder",
    ]
    for surface in plan["surfaces"]:
        ways = {"left", "right"} if surface["name"] == "rudder" else {"up", "down"}
        assert {"arm_hole_mm", "horn_hole_mm", "lean_deg", "rod_length_mm"} <= set(surface)
        assert set(surface["reach_deg"]) == ways
        assert set(surface["pulse_us"]) == {"centre", *ways}
        assert surface["pulse_us"]["centre"] == 1500
    aileron = plan["surfaces"][0]
    assert aileron["arm_hole_mm"] == pytest.approx(6.4)
    assert aileron["horn_hole_mm"] == pytest.approx(19.0)
    assert aileron["lean_deg"] == pytest.approx(360 / 25)  # one tooth of 25
    # The lean gives more up than down, and reach goes beyond what is wanted.
    assert aileron["reach_deg"]["up"] > aileron["reach_deg"]["down"] > 11


def test_plan_of_one_surface_and_its_text():
    ran = run("plan", "millrace.toml", "rudder")
    assert ran.err == ""
    assert "rudder  (servo R1, channel 4)" in ran.out
    assert "aileron" not in ran.out
    assert "by the maker's rate" in ran.out


def test_a_throw_that_cannot_be_reached_has_no_pulse(folder):
    text = (folder / "millrace.toml").read_text().replace("22 deg", "31 deg")
    (folder / "far.toml").write_text(text)
    surface = run("plan", "far.toml", "rudder", "--json").figures["surfaces"][0]
    assert surface["pulse_us"] == {"centre": 1500, "left": None, "right": None}
    assert surface["warnings"]


@pytest.mark.parametrize("servo", ["A1", "E1"])
def test_calibrate_finds_the_servo_that_is_there(servo, folder):
    figures = calibrated(servo).figures
    truth = truth_of(folder, servo)
    assert figures["servo"] == servo
    assert {*WITH_U, *(f"{key}_u" for key in WITH_U), "suspects"} <= set(figures)
    assert figures["suspects"] == []
    rising, falling = (truth.shaft_deg(1500.0, way) for way in ("rising", "falling"))
    error = abs(figures["centre_error_deg"] - (rising + falling) / 2)
    assert error <= 4 * figures["centre_error_deg_u"]
    # E1 turns clockwise: its rate is negative, and its lowest angle is at its longest pulse.
    assert (figures["rate_deg_per_us"] < 0) == (servo == "E1")
    assert figures["reach_deg"] == sorted(figures["reach_deg"])
    # The whole difference between up and down, not half of it.
    assert figures["hysteresis_deg"] == pytest.approx(abs(falling - rising), abs=0.2)


@pytest.mark.parametrize(
    "options", [["--gauge", "drop"], ["--gauge", "deg", "--resolution", "0.1 deg"]]
)
def test_calibrate_at_the_surface(options, folder):
    figures = calibrated("R1", *options).figures
    truth = truth_of(folder, "R1")
    middle = sum(truth.shaft_deg(1500.0, way) for way in ("rising", "falling")) / 2
    # The rod's fit shifts the surface: 0.05 mm at a 9 mm arm is a third of a degree.
    assert figures["centre_error_deg"] == pytest.approx(middle, abs=2.0)
    assert figures["rate_deg_per_us"] == pytest.approx(0.09, rel=0.1)


def test_calibrate_talks_apart_from_its_data():
    ran = calibrated("A1", "--quick")
    # Five each way, two of the small step, and where it bends most, once more each way.
    assert json.loads(ran.out)["readings"] in range(10, 15)
    assert "A1 at 1500 us: where does the arm stand" in ran.err
    assert " read as " in ran.err


def test_the_text_of_a_calibration_is_aligned_and_fits_80_columns():
    ran = run("calibrate", "millrace.toml", "A1", *SIM)
    lines = ran.out.splitlines()
    assert lines[0].startswith("Travel curve of A1, from 2")
    rows = [line for line in lines[1:] if line[2:3].isalpha() and line[21:22] == " "]
    assert len(rows) >= 6
    assert all(line[22] != " " for line in rows)
    assert max(map(len, lines)) < 80
    assert "-0.0" not in ran.out


def test_another_number_gives_another_servo_and_the_same_number_the_same():
    one, again = calibrated("A1").figures, calibrated("A1").figures
    other = run("calibrate", "millrace.toml", "A1", "--json", "--yes", "--port", "sim:7").figures
    assert one.pop("since") is None  # there was none before
    assert again.pop("since")["changed"] is False
    assert other.pop("since")["changed"] is True
    assert one == again
    assert one != other


def test_another_servo_under_the_same_label_is_seen_at_the_next_calibration():
    calibrated("A1")
    text = run("calibrate", "millrace.toml", "A1", "--quick", "--yes", "--port", "sim:7").out
    assert "Against the calibration of 20" in text
    assert "CHANGED: " in text
    same = run("calibrate", "millrace.toml", "A1", "--quick", "--yes", "--port", "sim:7").out
    assert "Nothing changed beyond uncertainty" in same


def test_throw_gives_wanted_predicted_and_measured():
    before = run("throw", "millrace.toml", "rudder", "--json", *SIM)
    assert "hingeline calibrate millrace.toml R1" in before.err
    assert before.figures["surfaces"][0]["calibrated"] is False
    assert before.figures["surfaces"][0]["throws"][0]["predicted_deg_u"] is None
    calibrated("R1")
    after = run("throw", "millrace.toml", "rudder", "--json", *SIM)
    assert "not calibrated" not in after.err
    surface = after.figures["surfaces"][0]
    assert surface["calibrated"] is True
    assert [row["direction"] for row in surface["throws"]] == ["left", "right"]
    worst = {}
    for name, ran in (("before", before), ("after", after)):
        rows = ran.figures["surfaces"][0]["throws"]
        assert all(row["wanted_deg"] == 22.0 and row["right_way"] for row in rows)
        worst[name] = max(abs(row["measured_deg"] - row["wanted_deg"]) for row in rows)
    # A whole step of the gauge, half a degree, and the play of the rod's ends.
    assert worst["after"] <= 1.0
    assert worst["after"] < worst["before"]
    assert all(row["predicted_deg_u"] > 0 for row in surface["throws"])


def test_throws_asked_for_in_mm_or_inches():
    asked = ["--throw", "left 10 mm drop", "--throw", "0.5 in straight right"]
    rows = run("throw", "millrace.toml", "rudder", *asked, "--json", *SIM).figures
    left, right = rows["surfaces"][0]["throws"]
    # Chord 60 mm: asin(10/60), and 2 asin(12.7/120).
    assert left["wanted_deg"] == pytest.approx(9.594, abs=0.001)
    assert right["wanted_deg"] == pytest.approx(12.150, abs=0.001)


def test_centre_holds_what_the_file_says():
    ran = run("centre", "millrace.toml", "rudder", "--hold", "1 s", "--json", *SIM)
    assert ran.figures == {
        "channels": [{"channel": 4, "label": "R1, rudder", "centre_us": 1500, "held_us": 1500.0}]
    }
    assert "The radio's centre must be the same" in ran.err


def test_sweep_and_step_say_what_they_did():
    swept = run("sweep", "millrace.toml", "rudder", "--cycles", "1", "--json", *SIM).figures
    assert swept["ends_us"] == [1300, 1700]
    assert (swept["cycles"], swept["period_s"], swept["channels"]) == (1, 4.0, [4])
    pulses = ["--pulse", "1450 us", "--pulse", "1550 us"]
    stepped = run("step", "millrace.toml", "rudder", *pulses, "--json", *SIM).figures
    assert stepped == {
        "channels": [4],
        "pulses_us": [1450, 1550],
        "dwell_s": 1.0,
        "lag_s": 0.0,
    }
    lagged = run("sweep", "millrace.toml", "--cycles", "1", "--lag", "200 ms", "--json", *SIM)
    assert lagged.figures["lag_s"] == 0.2


def test_board_info_and_convert():
    board = run("board", "info", "--port", "sim:", "--json").figures
    assert (board["port"], board["board"], board["channels"]) == ("sim:", "simulated", 8)
    converted = run("convert", "30 mm drop", "--chord", "50 mm", "--json").figures
    # asin(30/50); a straight ruler over that angle shows 2 * 50 * sin(36.87/2).
    assert converted["angle_deg"] == pytest.approx(36.87, abs=0.005)
    assert converted["drop_mm"] == pytest.approx(30.0)
    assert converted["straight_mm"] == pytest.approx(31.62, abs=0.005)


def test_board_list_without_a_board(monkeypatch):
    monkeypatch.setattr("hingeline.cli.board.listing.candidates", list)
    assert run("board", "list", "--json").figures == {"ports": []}
    assert "--port sim:" in run("board", "list").out

"""`records list`, `servo`, `models`, `compare`: what is on record, and what has changed."""

import json
from datetime import datetime, timedelta, timezone

import pytest

from hingeline.cli.records import SUBCOMMANDS, command
from hingeline.cli.records.compare import compare_surfaces
from hingeline.cli.records.laying import laid
from hingeline.cli.records.makers import makers_figures
from hingeline.errors import RecordsError
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.records.store import Records
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading
from tests.cli.running import run
from tests.support.rigging import play

SIM = ("--port", "sim:", "--yes")
PULSES_US = range(1200, 1801, 60)


def curve(offset_deg=0.0, rate=0.09, gap_deg=0.6):
    def angle(pulse, side):
        exact = rate * (pulse - 1500) + offset_deg + side * gap_deg / 2
        return round(2 * exact) / 2

    readings = [
        shaft_reading(pulse, approach, angle(pulse, side))
        for approach, side in (("rising", -1), ("falling", 1))
        for pulse in PULSES_US
    ]
    return fit(readings, nominal_centre_us=1500).to_dict()


def rigged(shift_deg=0.0, **changes):
    def point(share, deg, **more):
        return {"share": share, "from": "neutral", "measured_deg": deg + shift_deg, **more}

    return {
        "surface": "elevator",
        "servo": "E1",
        "words": ["up", "down"],
        "centre_us": 1500.0,
        "ends_us": {"up": 1800.0, "down": 1200.0},
        "points": [
            point(0.0, 0.2),
            point(0.5, 7.0),
            point(1.0, 14.0),
            {**point(0.0, 0.5), "from": "first"},
            point(-0.5, -7.0),
            point(-1.0, -14.0),
        ],
        "u_deg": 0.15,
        "slop_deg": 0.5,
        "rising_pulse": "up",
        **changes,
    }


@pytest.fixture
def opened(folder):
    begin, ticks = datetime(2026, 1, 1, tzinfo=timezone.utc), iter(range(10_000))
    with Records(
        folder / "records.sqlite", now=lambda: begin + timedelta(days=next(ticks))
    ) as records:
        yield records


def calibration(records, servo="A1", *, unfit=(), name="Millrace", bench="board", **figures):
    session = records.start_session(
        "calibrate", bench=bench, model_name=name, model_text=f"{example_text()}\n# {name}\n"
    )
    records.note_curve(session, servo, curve(**figures))
    verdict = {"fit": not unfit, "unfit": list(unfit), "doubts": []}
    records.note_finding(session, "verdict", servo, verdict)
    records.end_session(session, "done")
    return session


# -- the table of sub-commands ----------------------------------------------------------


@pytest.mark.parametrize("name", SUBCOMMANDS)
def test_short_help_is_what_the_table_says(name):
    import click

    found = command.get_command(click.Context(command), name)
    assert (found.name, found.get_short_help_str(200)) == (name, SUBCOMMANDS[name][1])


# -- list --------------------------------------------------------------------------------


def test_list_shows_the_newest_twenty_unless_asked(opened):
    for _ in range(23):
        opened.start_session("plan")
    lines = run("records", "list").out.splitlines()
    assert [line.split()[0] for line in lines[2:-1]] == [str(n) for n in range(23, 3, -1)]
    assert lines[-1] == "and 3 older, with --all"
    assert len(run("records", "list", "--all").out.splitlines()) == 25
    assert len(run("records", "list", "--limit", "2").out.splitlines()) == 5
    figures = run("records", "list", "--json").figures
    assert (figures["count"], len(figures["sessions"])) == (23, 20)
    assert run("records", "list", "--limit", "0").code == 2


def test_list_is_chosen_from(opened):
    opened.start_session("plan", model_name="Heron", model_text="x")
    calibration(opened)

    def found(*words):
        return [row["id"] for row in run("records", "list", "--json", *words).figures["sessions"]]

    assert found("--model", "Heron") == [1]
    assert found("--servo", "A1") == [2]
    assert found("--command", "calibrate") == [2]
    assert found("--servo", "A1", "--model", "Heron") == []
    assert run("records", "list", "--servo", "Z9").out == "No session is like that.\n"


# -- servo -------------------------------------------------------------------------------


def test_a_servo_is_shown_with_its_models_and_its_history(opened):
    calibration(opened, offset_deg=0.0)
    calibration(opened, name="Plank", offset_deg=4.5, unfit=["it sticks"])
    calibration(opened, bench="simulated")
    (real, simulated) = run("records", "servo", "A1", "--json").figures["servos"]
    assert [row["session_id"] for row in real["calibrations"]] == [2, 1]
    assert [row["verdict"] for row in real["calibrations"]] == ["UNFIT", "fit"]
    assert real["calibrations"][1]["centre_us"] == pytest.approx(1500, abs=3)
    assert real["calibrations"][0]["centre_us"] == pytest.approx(1450, abs=3)
    assert real["calibrations"][0]["rate_deg_per_us"] == pytest.approx(0.09, rel=0.02)
    assert [row["model"] for row in real["models"]] == ["Plank", "Millrace"]
    assert real["maker"]["spline_teeth"] == 25
    assert (simulated["simulated"], simulated["curves"]) == (True, 1)
    out = run("records", "servo", "A1").out
    assert out.startswith("Servo A1, real bench\n  By the model file: 25 spline teeth, ")
    assert "On Plank: 2026-01-" in out
    assert "Its newest curve serves on each of them." in out
    assert "UNFIT" in out


def test_what_was_kept_of_a_servo_goes_before_the_model_file(opened):
    session = calibration(opened)
    opened.note_servo(session, "A1", {"spline_teeth": 23, "pulse_class": "standard"})
    (row,) = run("records", "servo", "A1", "--json").figures["servos"]
    assert row["maker"] == {"spline_teeth": 23, "pulse_class": "standard"}
    assert "By the model file: 23 spline teeth, standard" in run("records", "servo", "A1").out


def test_makers_figures_are_plain_and_all_of_the_schema():
    servo = parse_model(example_text(), source="example").servos["A1"]
    figures = makers_figures(servo)
    assert list(figures) == list(servo.__struct_fields__)
    assert json.loads(json.dumps(figures)) == figures
    assert figures["centre_us"] == servo.centre_us
    kinds = {type(one) for one in figures.values()}
    assert kinds <= {int, float, str, bool, list, type(None)}


def test_a_verdict_without_a_curve_is_in_the_history(opened):
    calibration(opened)
    session = opened.start_session("calibrate", bench="board")
    opened.note_finding(
        session, "verdict", "A1", {"fit": False, "unfit": ["it sticks"], "doubts": []}
    )
    (row,) = run("records", "servo", "A1", "--json").figures["servos"]
    newest, oldest = row["calibrations"]
    assert (newest["session_id"], newest["centre_us"], newest["verdict"]) == (2, None, "UNFIT")
    assert oldest["verdict"] == "fit"


def test_all_servos_are_listed(opened):
    calibration(opened)
    calibration(opened, "E1", unfit=["it sticks"])
    rows = run("records", "servo", "--json").figures["servos"]
    assert [(row["servo"], row["curves"], row["verdict"]) for row in rows] == [
        ("A1", 1, "fit"),
        ("E1", 1, "UNFIT"),
    ]
    lines = run("records", "servo").out.splitlines()
    assert lines[2].split()[:5] == ["A1", "real", "-", "1", "1500"]


def test_an_unknown_servo_is_named_with_the_known(opened):
    calibration(opened)
    ran = run("records", "servo", "Z9")
    assert ran.code == 7
    assert "there is no servo 'Z9' on record" in ran.err
    assert "On record: A1." in ran.err


# -- show --------------------------------------------------------------------------------


def test_figures_are_laid_out_whatever_they_are():
    figures = {
        "pass": True,
        "ends_us": {"up": 1800.25, "down": 1200.0},
        "words": ["up", "down"],
        "none": None,
        "points": [{"share": 0.5, "from": "first"}, {"share": 1.0, "u": 0.123456}],
        "empty": [],
    }
    first, second, *rows = laid(figures)
    assert first == ("pass yes; ends_us up 1800, down 1200; words up, down; none -; empty none")
    assert second == "points:"
    assert [row.split() for row in rows] == [
        ["share", "from", "u"],
        ["\u2500" * (len(rows[1]) - 2)],
        ["0.5", "first"],
        ["1", "0.1235"],
    ]
    assert list(laid({})) == []


# -- models ------------------------------------------------------------------------------


def test_models_with_their_versions(opened):
    for name, text in (("Heron", "one\r\n"), ("Plank", "two\n"), ("Heron", "three\n")):
        opened.start_session("plan", model_name=name, model_text=text)
    lines = run("records", "models").out.splitlines()
    assert [line.split()[:2] for line in lines[2:]] == [
        ["Heron", "1"],
        ["Heron", "2"],
        ["Plank", "1"],
    ]
    assert len(run("records", "models", "Plank").out.splitlines()) == 3
    assert "text" not in run("records", "models", "--json").figures["models"][0]
    assert run("records", "models", "Heron", "--version", "2").out == "three\n"
    whole = run("records", "models", "Heron", "--version", "1", "--json").figures
    assert whole["text"] == "one\r\n"
    ran = run("records", "models", "Heron", "--version", "3")
    assert (ran.code, "has 2 versions" in ran.talk) == (7, True)
    ran = run("records", "models", "Hreon")
    assert (ran.code, "On record: Heron, Plank." in ran.talk) == (7, True)
    assert run("records", "models", "--version", "3").code == 2


# -- compare -----------------------------------------------------------------------------


def test_two_calibrations_of_an_unchanged_servo(opened):
    calibration(opened)
    calibration(opened, gap_deg=0.7)
    figures = run("records", "compare", "1", "2", "--json").figures
    assert figures["servos"]["A1"]["changed"] is False
    assert figures["servos"]["A1"]["spline_teeth"] == 25
    assert figures["surfaces"] == {}
    assert "Nothing changed beyond uncertainty" in run("records", "compare", "1", "2").out


def test_an_arm_that_slipped_is_seen(opened):
    calibration(opened)
    calibration(opened, offset_deg=14.4)
    ran = run("records", "compare", "1", "2")
    assert ran.code == 0
    assert "CHANGED: The whole curve moved by +14.4 deg, one tooth" in " ".join(ran.out.split())
    changes = run("records", "compare", "1", "2", "--json").figures["servos"]["A1"]
    assert changes["angle"]["difference"] == pytest.approx(14.4, abs=0.3)
    assert {one["name"]: one["beyond"] for one in changes["changes"]}["rate"] is False


def test_sessions_with_nothing_in_common_are_told_with_what_they_hold(opened):
    calibration(opened)
    calibration(opened, "E1")
    ran = run("records", "compare", "1", "2")
    assert ran.code == 7
    assert "In 1: servo A1. In 2: servo E1." in ran.talk


def test_two_rigs_of_one_surface_point_by_point(opened):
    for shift in (0.0, 0.2, 2.0):
        rig = opened.start_session("rig", rig=0, bench="board")
        later = opened.start_session("rig", rig=rig, bench="board")
        opened.note_finding(rig, "rigged", "elevator", rigged(9.0))  # done again later
        opened.note_finding(later, "rigged", "elevator", rigged(shift))
    same = run("records", "compare", "1", "3", "--json").figures["surfaces"]["elevator"]
    assert same["changed"] is False
    assert len(same["points"]) == 6
    moved = run("records", "compare", "1", "5", "--json").figures["surfaces"]["elevator"]
    assert [point["beyond"] for point in moved["points"]] == [True] * 6
    out = run("records", "compare", "1", "5").out
    assert "100% up" in out
    assert "neutral, from up" in out
    assert "CHANGED" in out


def test_a_reversed_surface_and_another_servo_are_told(opened):
    for changes in ({}, {"rising_pulse": "down", "servo": "E2", "slop_deg": 1.5}):
        session = opened.start_session("rig", rig=0, bench="board")
        opened.note_finding(session, "rigged", "elevator", rigged(**changes))
    out = run("records", "compare", "1", "2").out
    assert "REVERSED" in out
    assert "Another servo: E1 then, E2 now" in out
    assert "Free play: 0.5 deg then, 1.5 deg now" in out


def test_other_words_cannot_be_compared():
    with pytest.raises(RecordsError, match="up / down then, as left / right now"):
        compare_surfaces(rigged(), rigged(words=["left", "right"]))


def test_by_chance_few_surfaces_seem_changed():
    """The limit's own promise: one unchanged surface in twenty seems changed, not more."""
    import numpy as np

    rng = np.random.default_rng(5)
    alarms, many = 0, 2000
    for _ in range(many):
        two = [rigged(), rigged()]
        for one in two:
            for point in one["points"]:
                point["measured_deg"] += rng.normal(0.0, one["u_deg"])
        alarms += compare_surfaces(*two)["changed"]
    # Bonferroni: at most 5 %; four standard errors of the count beside it.
    assert 0.03 * many < alarms < 0.05 * many + 4 * (many * 0.05 * 0.95) ** 0.5


def test_two_whole_rigs_on_the_simulated_bench(folder):
    for _ in range(2):
        assert play("--json").code == 0
    with Records(folder / "records.sqlite") as records:
        rigs = [row["id"] for row in records.sessions() if row["rig"] == row["id"]]
        assert records.belonging([rigs[1]])[-1] < rigs[0]
    ran = run("records", "compare", str(rigs[1]), str(rigs[0]), "--json")
    assert sorted(ran.figures["surfaces"]) == [
        "elevator",
        "left aileron",
        "right aileron",
        "rudder",
    ]
    assert not any(one["changed"] for one in ran.figures["surfaces"].values())
    shown = run("records", "show", str(rigs[1])).out
    assert "Steps of the rig:" in shown
    assert "left aileron, bare, answered: up " in shown
    assert "Rigged of rudder:" in shown
    assert max(map(len, shown.splitlines())) < 250
    exported = run("records", "export", str(rigs[0]))
    numbers = [session["id"] for session in json.loads(exported.out)["sessions"]]
    assert rigs[0] in numbers
    assert "With them goes what belongs to them" in exported.err

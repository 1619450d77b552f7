"""Handing over as a user asks for it: from the records, with nothing moved."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from hingeline.cli.entry import hingeline
from hingeline.cli.verdicts import keep_verdict
from hingeline.errors import HingelineError, TravelError
from hingeline.model.reading import read_model
from hingeline.records.store import Records
from hingeline.rigging.progress import COVERS
from hingeline.rigging.steps import Item, checklist, print_of, step_named
from hingeline.travel.verdict import Verdict
from tests.cli.test_match import PLAIN, changed, curve, keep
from tests.support.rigging import play
from tests.support.servo_truth import ServoTruth

NAMES = ("left aileron", "right aileron", "elevator", "rudder")


@dataclass(frozen=True)
class Ran:
    """What the command left behind."""

    code: int
    out: str

    @property
    def figures(self):
        """What stands on stdout, as JSON."""
        return json.loads(self.out)

    @property
    def words(self):
        """Stdout without its line breaks."""
        return " ".join(self.out.split())

    def surface(self, name):
        """Return the figures of one surface."""
        return next(one for one in self.figures["surfaces"] if one["name"] == name)


def handover(*arguments):
    done = CliRunner().invoke(
        hingeline, ["handover", "millrace.toml", *arguments], standalone_mode=False
    )
    if done.exception is not None:
        raise done.exception
    return Ran(done.return_value, done.stdout)


def keep_all(folder):
    keep(folder, A1=PLAIN, A2=ServoTruth(0.09, 1520.0), E1=ServoTruth(-0.09), R1=PLAIN)


def steps(*names):
    """Return subject and step of all that a rig of surfaces goes through."""
    made = read_model(Path("millrace.toml"))
    return [one.key for one in checklist(made, [made.surface(name) for name in names])]


def keep_step(records, session, surface, step, outcome="done", text="", **figures):
    """Keep how a step ended, as a rig does."""
    made = read_model(Path("millrace.toml"))
    print_ = print_of(made, Item(step_named(step), surface))
    if step_named(step).scope == "model":
        print_ += COVERS + "; ".join(sorted(NAMES))
    if step == "signoff":
        figures["name"] = "Ada"
    records.note_step(session, surface, step, outcome, text, {**figures, "print": print_})


def keep_rigged(folder, name, model="Millrace", bench="board", **changes):
    """Keep a finding of a rig, half a degree beyond what is computed."""
    one = handover("--json").surface(name)
    words = list(one["wanted_deg"])
    points = [
        {
            "share": share,
            "pulse_us": pulse,
            "approach": "rising" if pulse >= one["centre_us"] else "falling",
            "wanted_deg": wanted,
            "predicted_deg": wanted,
            "measured_deg": wanted + 0.5 * share,
            "from": "neutral",
        }
        for share, pulse, wanted in (
            (0.0, one["centre_us"], 0.0),
            (1.0, one["end_us"][words[0]], one["wanted_deg"][words[0]]),
            (-1.0, one["end_us"][words[1]], -one["wanted_deg"][words[1]]),
        )
    ]
    figures = {
        "surface": name,
        "servo": one["servo"],
        "centre_us": one["centre_us"] + 3,
        "ends_us": one["end_us"],
        "wanted_deg": one["wanted_deg"],
        "points": points,
        "pass": True,
        **changes,
    }
    with Records(folder / "records.sqlite") as records:
        session = records.start_session("rig", model_name=model, model_text="", bench=bench, rig=0)
        records.note_finding(session, "rigged", name, figures)
        for surface, step in steps(name):
            keep_step(records, session, surface, step)
        records.end_session(session, "done")
    return figures


def test_without_any_record_the_makers_rate_is_shown_loudly_and_does_not_pass():
    ran = handover()
    assert ran.code == 1
    assert "MAKER'S RATE: nothing of these servos was measured." in ran.words
    found = handover("--json").figures
    assert found["pass"] is False
    assert {one["source"] for one in found["surfaces"]} == {"maker"}
    assert [one["name"] for one in found["surfaces"]] == list(NAMES)
    assert not Path("records.sqlite").exists()  # looking keeps nothing


def test_with_curves_alone_it_is_computed_and_said_to_be(folder):
    keep_all(folder)
    ran = handover()
    assert ran.code == 0
    assert "Computed: from the servo's measured curve" in ran.words
    assert "MAKER'S RATE" not in ran.out
    left = handover("--json").surface("left aileron")
    assert left["source"] == "curve"
    assert left["centre_us"] == 1500
    assert left["end_us"] == {"up": 1986, "down": 1062}
    assert handover("--json").surface("right aileron")["centre_us"] == 1520


def test_no_per_cent_without_a_span_that_was_said(folder):
    keep_all(folder)
    ran = handover()
    assert "No per cent: how many us 100 % are differs between radios." in ran.words
    assert "+97.2 %" not in ran.out
    assert handover("--json").surface("left aileron")["percent"] is None


def test_per_cent_of_the_span_from_the_radios_centre(folder):
    keep_all(folder)
    options = ("--span", "500 us", "--radio-centre", "1500 us")
    right = handover(*options, "--json").surface("right aileron")["percent"]
    assert right["centre"] == pytest.approx(4.0)
    assert right["end"] == {"up": pytest.approx(-93.2), "down": pytest.approx(91.6)}
    assert right["end_from_trimmed_centre"]["down"] == pytest.approx(87.6)
    said = handover(*options).words
    assert "up +97.2 % (+97.2 %)" in said
    assert "BEYOND" not in said


def test_an_end_beyond_the_span_is_named(folder):
    keep_all(folder)
    said = handover("--span", "400 us", "--radio-centre", "1500 us").words
    assert "BEYOND: left aileron needs up 1986 us, which is +121.5 %." in said


def test_a_radio_with_another_centre_is_told_what_that_does_and_what_it_does_not(folder):
    keep_all(folder)
    said = handover("left aileron", "--radio-centre", "1520 us").words
    assert "CENTRES DIFFER: its arm was squared at 1500 us" in said
    assert "the arm sits 1.8 deg off" in said
    assert "does not explain an arm that is 10 deg off: for A1 that would take 111 us." in said
    off = handover("--radio-centre", "1520 us", "--json").surface("left aileron")
    assert off["radio_centre_off"] == {"by_us": 20.0, "arm_off_deg": pytest.approx(1.8, abs=1e-3)}
    same = handover("--radio-centre", "1500 us").words
    assert "CENTRES DIFFER" not in same
    assert "10 deg off" not in same


def test_direction_is_given_by_the_stick_and_reversal_never_by_wires(folder):
    keep_all(folder)
    ran = handover()
    assert "Aileron stick to the right: it must go down." in ran.words
    assert "Elevator stick back, towards you: it must go up." in ran.words
    assert "never by swapping wires" in ran.words
    found = handover("--json")
    assert found.surface("left aileron")["sticks"] == [{"stick": "roll right", "goes": "down"}]
    assert found.surface("left aileron")["rising_pulse"] == "up"
    assert found.surface("right aileron")["rising_pulse"] == "down"
    assert found.figures["pairs"][0]["one_channel_reversed"] is False


def test_a_pair_whose_servos_turn_otherwise_needs_a_channel_reversed_and_no_y_lead(folder):
    keep_all(folder)
    keep(folder, A2=ServoTruth(-0.09))
    ran = handover()
    assert "One of the two channels must be reversed against the other" in ran.words
    assert "they would go WRONG" in ran.words
    pair = handover("--json").figures["pairs"][0]
    assert pair["one_channel_reversed"] is True
    assert pair["one_signal"]["works"] is False
    assert pair["one_signal"]["left"]["servo_turns"] == "ccw"
    assert pair["one_signal"]["right"]["servo_turns"] == "cw"


def test_differential_is_given_with_both_throws_and_what_is_meant(folder):
    keep_all(folder)
    assert (
        "up 15.0 deg, down 11.0 deg: down is 73 % of up, or 27 % less, counted in degrees"
        in handover().words
    )
    found = handover("--json").surface("left aileron")["differential"]
    assert found["smaller_of_larger_percent_by_deg"] == pytest.approx(73.3, abs=0.1)
    assert handover("--json").surface("rudder")["differential"] is None


def test_measured_figures_of_the_rig_come_first(folder):
    keep_all(folder)
    kept = keep_rigged(folder, "left aileron")
    ran = handover("--json")
    left = ran.surface("left aileron")
    assert ran.code == 0
    assert left["source"] == "measured"
    assert left["centre_us"] == kept["centre_us"]
    assert left["throw_deg"]["up"] == pytest.approx(15.5, abs=0.05)
    assert ran.surface("right aileron")["source"] == "curve"


def test_the_rig_of_another_model_or_bench_is_not_this_one(folder):
    keep_all(folder)
    keep_rigged(folder, "left aileron", model="Heron")
    assert handover("--json").surface("left aileron")["source"] == "curve"
    keep_rigged(folder, "left aileron", bench="simulated")
    assert handover("--json").surface("left aileron")["source"] == "curve"
    keep_rigged(folder, "left aileron", servo="B7")
    assert handover("--json").surface("left aileron")["source"] == "curve"


def test_a_rig_that_failed_and_a_file_that_changed_since_do_not_pass(folder):
    keep_all(folder)
    keep_rigged(folder, "left aileron", **{"pass": False})
    ran = handover()
    assert ran.code == 1
    assert "NOT RIGHT YET: its throws were not within the tolerance" in ran.words
    keep_rigged(folder, "left aileron")
    assert handover().code == 0
    changed(folder, ('up = "15 deg", down = "11 deg"', 'up = "12 deg", down = "11 deg"', 2))
    ran = handover("left aileron")
    assert ran.code == 1
    assert "it was rigged for up 15.0 deg; the model file asks for 12.0 deg now." in ran.words


def test_an_arm_put_on_again_or_a_new_curve_after_the_rig_is_told(folder):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    later = Later()
    with Records(folder / "records.sqlite", now=later) as records:
        session = records.start_session("rig", bench="board", rig=0)
        seat = {"arm_deg": 1.0, "pulse_us": 1500, "u_deg": 0.3, "lean_deg": 0.0}
        records.note_finding(session, "seat", "A1", seat)
    ran = handover("left aileron")
    assert ran.code == 1
    assert "the arm of servo A1 was put on again after it was rigged." in ran.words
    with Records(folder / "records.sqlite", now=later) as records:
        session = records.start_session("calibrate", bench="board")
        records.note_curve(session, "A1", curve(PLAIN).to_dict())
    assert "servo A1 was calibrated again after it was rigged." in handover("left aileron").words


def after(folder, *rows, sign=False):
    """Keep further rows of the newest rig: surface, step, outcome and text."""
    with Records(folder / "records.sqlite") as records:
        session = records.newest_rig("Millrace", simulated=False)["id"]
        for row in rows:
            keep_step(records, session, *row)
        if sign:
            keep_step(records, session, "", "signoff")


def test_a_rig_that_was_ended_and_signed_says_by_whom(folder):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    ran = handover("left aileron")
    assert ran.code == 0
    assert "was signed by Ada." in ran.words
    (rig,) = handover("--json").figures["rigs"]
    assert (rig["signed"], rig["signature_stands"], rig["remaining"]) == ("Ada", True, [])


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            ("left aileron", "binding", "failed", "It buzzes at up."),
            "binding at the ends failed: It buzzes at up.",
        ),
        (("left aileron", "slop", "failed", "6.0 deg."), "slop failed: 6.0 deg."),
        (("left aileron", "slop", "skipped", "no time"), "left out: slop (no time)."),
        (("", "leads", "skipped"), "for the whole model: left out: leads."),
        (("left aileron", "seat", "reopened", "asked"), "arm seated is to be done again"),
    ],
)
def test_a_step_that_does_not_stand_is_named_and_fails_though_the_throws_passed(folder, row, said):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    after(folder, row, sign=row[2] != "reopened")
    ran = handover("left aileron")
    assert ran.code == 1
    assert said in ran.words
    found = handover("left aileron", "--json")
    left = [*found.figures["rigs"][0]["remaining"], *found.surface("left aileron")["remaining"]]
    assert row[1] in {one["step"] for one in left}


@pytest.mark.parametrize("step", ["rod", "neutral", "throws"])
def test_a_rig_that_was_done_again_in_part_no_longer_passes(folder, step):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    after(folder, ("left aileron", step, "done"))
    ran = handover("left aileron")
    assert ran.code == 1
    assert "to be done again after what was changed or done since" in ran.words
    assert "centre and limits" in ran.words
    assert "NOT SIGNED ANEW" in ran.words
    assert "it goes on with: hingeline rig" in ran.words


def test_a_rig_that_nobody_signed_or_that_was_begun_anew_does_not_pass(folder):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    with Records(folder / "records.sqlite") as records:
        session = records.start_session(
            "rig", model_name="Millrace", model_text="", bench="board", rig=0
        )
        keep_step(records, session, "left aileron", "bare")
    ran = handover("left aileron")
    assert ran.code == 1
    assert "was signed by nobody" in ran.words
    assert "its figures are of an earlier rig; a new one was begun on" in ran.words
    assert "still to be done: servo at centre, arm seated" in ran.words
    assert handover("right aileron").code == 0  # of which nothing was rigged: it is computed


@pytest.mark.parametrize(
    ("before", "now", "part"),
    [
        ('19 mm"], hole = 3, set_back', '19 mm"], hole = 2, set_back', "horn"),
        ('set_back = "0 mm"', 'set_back = "3 mm"', "horn"),
        ("channel = 1", "channel = 6", "channel"),
    ],
)
def test_a_model_file_that_changed_since_the_rig_does_not_pass(folder, before, now, part):
    keep_all(folder)
    keep_rigged(folder, "left aileron")
    text = (folder / "millrace.toml").read_text("utf-8")
    assert before in text
    (folder / "millrace.toml").write_text(text.replace(before, now, 1), "utf-8")
    ran = handover("left aileron")
    assert ran.code == 1
    assert f"measured, but the model file has changed in {part} since." in ran.words


def test_a_port_that_is_simulated_means_the_records_of_that_bench(folder, monkeypatch):
    keep(folder, bench="simulated", A1=PLAIN)
    assert handover("--json").surface("left aileron")["source"] == "maker"
    for words in (["--simulated"], ["--port", "sim:"], ["--port", "sim:7"]):
        assert handover(*words, "--json").surface("left aileron")["source"] == "curve"
    monkeypatch.setenv("HINGELINE_PORT", "sim:")
    assert handover("--json").surface("left aileron")["source"] == "curve"


def test_what_a_rig_left_failed_is_handed_over_as_such():
    play(
        "rudder",
        script={("binding", "rudder"): ["buzzing"] * 2, ("mend", "rudder"): ["leave"] * 3},
    )
    ran = handover("rudder", "--port", "sim:")
    assert ran.code == 1
    assert "binding at the ends failed: " in ran.words


class Later:
    """A clock that goes an hour each time it is read, a day ahead of all other records."""

    def __init__(self):
        self._hour = timedelta(hours=1)
        self._at = datetime.now(timezone.utc) + timedelta(days=1)

    def __call__(self):
        self._at += self._hour
        return self._at


def test_a_throw_that_the_servo_does_not_give_ends_with_code_1(folder):
    keep_all(folder)
    changed(folder, ('up = "15 deg", down = "11 deg"', 'up = "25 deg", down = "11 deg"', 2))
    ran = handover("left aileron")
    assert ran.code == 1
    assert "up 25.0 deg is wanted, but servo, linkage and free travel allow" in ran.words


def test_elevons_are_told_what_both_sticks_ask_for(folder):
    keep_all(folder)
    changed(folder, ('kind = "aileron"', 'kind = "elevon"', 2))
    ran = handover()
    assert "MIX: if each stick alone gives up 15.0 deg, both at once ask for 30.0 deg" in ran.words
    assert "Elevator stick back, towards you: it must go up." in ran.words
    left = handover("--json").surface("left aileron")
    assert {one["stick"]: one["goes"] for one in left["sticks"]} == {
        "pitch up": "up",
        "roll right": "down",
    }
    up = left["sums"][0]
    assert up["asked_deg"] == pytest.approx(30.0)
    assert up["each_at_most_percent"] == pytest.approx(100 * up["allowed_deg"] / 30.0, abs=0.1)


def test_a_servo_found_unfit_is_refused(folder):
    with Records(folder / "records.sqlite") as records:
        session = records.start_session("calibrate", bench="board")
        keep_verdict(records, session, "A1", Verdict(unfit=("It sticks.",), doubts=()))
    with pytest.raises(TravelError, match="unfit"):
        handover("left aileron")


def test_what_is_typed_wrong_is_refused_with_what_would_do():
    with pytest.raises(click.UsageError, match="--radio-centre as well"):
        handover("--span", "500 us")
    with pytest.raises(click.UsageError, match="us"):
        handover("--span", "500")
    with pytest.raises(HingelineError, match="no surface"):
        handover("left wing")


def test_the_example_in_the_help_is_one_that_runs(folder):
    keep_all(folder)
    assert "hingeline handover millrace.toml --span" in handover("--help").out
    assert handover("--span", "500 us", "--radio-centre", "1500 us").code == 0

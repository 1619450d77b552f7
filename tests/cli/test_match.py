"""Matching as a user asks for it: from the records, with nothing moved."""

import sqlite3

import numpy as np
import pytest

from hingeline.cli.curves import unseat
from hingeline.kinds import OTHER_SERVO
from hingeline.records.store import Records
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading
from tests.cli.running import run
from tests.support.servo_truth import ServoTruth

PLAIN = ServoTruth(0.09)
# Within the pulse limits of the example model.
PULSES = np.linspace(900.0, 2100.0, 13)


def curve(truth, resolution_deg=0.01):
    return fit(
        [
            shaft_reading(
                float(pulse), side, truth.mean_deg(float(pulse)), resolution_deg=resolution_deg
            )
            for pulse in PULSES
            for side in ("rising", "falling")
        ]
    )


def keep(folder, bench="board", **truths):
    with Records(folder / "records.sqlite") as records:
        for label, truth in truths.items():
            session = records.start_session("calibrate", bench=bench)
            records.note_curve(session, label, curve(truth).to_dict())
            records.end_session(session, "done")


def changed(folder, *changes):
    path = folder / "millrace.toml"
    text = path.read_text("utf-8")
    for old, new, count in changes:
        assert old in text
        parts = text.rsplit(old, count)
        text = new.join(parts)
    path.write_text(text, "utf-8")


def test_a_pair_of_plain_servos_matches(folder):
    keep(folder, A1=PLAIN, A2=ServoTruth(0.09, 1520.0))
    ran = run("match", "millrace.toml", "--json")
    found = ran.figures
    assert ran.code == 0
    assert found["pass"] is True
    assert found["sure"] is True
    assert found["worst_mismatch_deg"] < 0.1
    left, right = found["sides"]
    assert (left["centre_us"], right["centre_us"]) == (1500, 1520)
    # Mirror images of each other on the same pulses move opposite ways by themselves.
    assert found["one_channel_reversed"] is False
    assert right["trim"]["by_us"] == pytest.approx(20, abs=0.1)
    assert right["trim"]["travel_lost_deg"] == pytest.approx(1.8, abs=0.01)
    assert right["trim"]["travel_lost_percent"] == pytest.approx(100 * 1.8 / 54, abs=0.05)
    assert len(found["points"]) == 9
    assert set(found["curves_noted"]) == {"A1", "A2"}


def test_a_servo_that_turns_the_other_way_needs_its_channel_reversed(folder):
    keep(folder, A1=PLAIN, A2=ServoTruth(-0.09))
    assert run("match", "millrace.toml", "--json").figures["one_channel_reversed"] is True
    said = run("match", "millrace.toml").out
    assert "One of the two channels must be reversed" in said
    assert "never by" in said


def test_throws_swapped_in_the_file_fail_whatever_the_totals(folder):
    keep(folder, A1=PLAIN, A2=PLAIN)
    changed(folder, ('up = "15 deg", down = "11 deg"', 'up = "11 deg", down = "15 deg"', 1))
    ran = run("match", "millrace.toml")
    assert ran.code == 1
    assert "FAIL: the worst mismatch is" in ran.out
    assert "the model file asks the two sides for throws that differ by 4.0 deg" in " ".join(
        ran.out.split()
    )
    found = run("match", "millrace.toml", "--json").figures
    assert found["worst_mismatch_deg"] == pytest.approx(4.0, abs=0.05)
    assert found["remedies"] == []


def test_the_tooth_that_mends_a_leaning_arm_is_named(folder):
    keep(folder, A1=PLAIN, A2=PLAIN)
    changed(folder, ("hole = 1, teeth_lean = 1", "hole = 1, teeth_lean = 2", 1))
    assert run("match", "millrace.toml").code == 0  # within a degree the radio evens it out
    ran = run("match", "millrace.toml", "--tolerance", "0.1 deg")
    assert ran.code == 1
    assert "NEXT: the radio cannot mend this." in ran.out
    best = run("match", "millrace.toml", "--tolerance", "0.1 deg", "--json").figures["remedies"][0]
    assert (best["teeth_lean"], best["arm_hole"], best["horn_hole"]) in ((1, 1, 3), (2, 1, 3))
    assert best["pass"] is True


def test_two_servos_on_one_surface_are_held_closer_and_told_how_to_be_joined(folder):
    keep(folder, A1=PLAIN, A2=PLAIN)
    good = run("match", "millrace.toml", "--one-surface")
    assert good.code == 0
    assert "0.5 deg may remain" in good.out
    assert "with one rod off" in " ".join(good.out.split())
    changed(folder, ('up = "15 deg", down = "11 deg"', 'up = "14 deg", down = "11 deg"', 1))
    bad = run("match", "millrace.toml", "--one-surface")
    assert bad.code == 1
    assert "leave one rod off" in bad.out
    assert "drop into its hole" not in bad.out


def test_a_servo_without_a_curve_is_named_with_the_command_that_makes_one(folder):
    keep(folder, A1=PLAIN)
    ran = run("match", "millrace.toml")
    assert ran.code != 0
    assert "servo A2" in ran.talk
    assert "hingeline calibrate millrace.toml A2" in ran.talk
    assert ran.out == ""


def test_curves_of_the_simulated_bench_never_serve_a_real_pair(folder):
    keep(folder, "simulated", A1=PLAIN, A2=PLAIN)
    assert run("match", "millrace.toml").code != 0
    assert run("match", "--shelf").code != 0
    assert run("match", "millrace.toml", "--simulated").code == 0


def test_a_curve_missing_on_the_simulated_bench_is_made_there(folder):
    keep(folder, A1=PLAIN, A2=PLAIN)
    ran = run("match", "millrace.toml", "--simulated")
    assert "calibrate millrace.toml A1 --port sim:" in ran.talk


def test_the_newest_curve_counts(folder):
    keep(folder, A1=PLAIN, A2=ServoTruth(0.09, 1530.0))
    keep(folder, A2=ServoTruth(0.09, 1510.0))
    found = run("match", "millrace.toml", "--json").figures
    assert found["sides"][1]["centre_us"] == 1510
    shelf = run("match", "--shelf", "--json").figures
    assert shelf["servos"]["A2"]["centre_us"] == pytest.approx(1510, abs=0.1)
    assert len(shelf["pairs"]) == 1


def test_a_servo_that_was_replaced_is_left_off_the_shelf(folder):
    keep(folder, A=PLAIN, B=PLAIN, C=PLAIN)
    with Records(folder / "records.sqlite") as records:
        rig = records.start_session("rig", bench="board")
        number = records.latest_curve("C", simulated=False)["session_id"]
        unseat(records, rig, "C", OTHER_SERVO, curve=number)
    shelf = run("match", "--shelf", "--json").figures
    assert set(shelf["servos"]) == {"A", "B"}
    assert "another servo was fitted in its place" in shelf["left_out"]["C"]
    keep(folder, C=PLAIN)
    assert set(run("match", "--shelf", "--json").figures["servos"]) == {"A", "B", "C"}


def test_the_shelf_is_ranked_and_says_what_cannot_be_told_apart(folder):
    keep(
        folder,
        A=ServoTruth(0.09, shape="sine", bend_deg=3.0, low_us=900, high_us=2100),
        B=PLAIN,
        C=ServoTruth(0.1, 1515.0, shape="sine", bend_deg=3.0, low_us=900, high_us=2100),
        S=ServoTruth(0.03),
    )
    ran = run("match", "--shelf")
    assert ran.code == 0
    rows = [line for line in ran.out.splitlines() if " + " in line]
    assert rows[0].split()[:3] == ["A", "+", "C"]
    assert rows[-1].rstrip().endswith("worse")
    assert "LEFT OUT: S" in ran.out
    found = run("match", "--shelf", "--json").figures
    assert found["pairs"][0]["servos"] == ["A", "C"]
    assert set(found["left_out"]) == {"S"}
    two = run("match", "--shelf", "--servo", "B", "--servo", "C", "--json").figures
    assert [pair["servos"] for pair in two["pairs"]] == [["B", "C"]]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["match"], "--shelf"),
        (["match", "--shelf", "millrace.toml"], "leave MODEL"),
        (["match", "--shelf", "--tolerance", "1 deg"], "--tolerance"),
        (["match", "millrace.toml", "--servo", "A1"], "--shelf"),
        (["match", "millrace.toml", "--points", "6"], "odd"),
        (["match", "millrace.toml", "--points", "3"], "5<=x<=101"),
        (["match", "millrace.toml", "elevator"], "no pair"),
        (["match", "--shelf", "--servo", "Z9"], "Z9"),
        (["match", "--shelf", "--arm", "90 deg"], "--arm"),
        (["match", "--shelf", "--arm", "45"], "no unit"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_what_can(folder, words, said):
    keep(folder, A1=PLAIN, A2=PLAIN)
    ran = run(*words)
    assert ran.code != 0
    assert said in ran.talk
    assert ran.out == ""


def test_nothing_on_record_is_said(folder):
    ran = run("match", "--shelf")
    assert ran.code != 0
    assert "nothing is on record" in ran.talk
    assert not (folder / "records.sqlite").exists()


def test_matching_leaves_the_records_as_they_were(folder):
    keep(folder, A1=PLAIN, A2=PLAIN)

    def rows():
        db = sqlite3.connect(folder / "records.sqlite")
        try:
            return [
                db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                for table in ("sessions", "curves", "findings", "readings")
            ]
        finally:
            db.close()

    before = rows()
    run("match", "millrace.toml")
    run("match", "--shelf")
    assert rows() == before


# -- drawing -------------------------------------------------------------------------------


def test_a_session_is_drawn_and_one_without_a_curve_says_so(folder):
    keep(folder, A1=PLAIN)
    ran = run("records", "draw", "1", "pictures")
    assert ran.code == 0
    written = sorted((folder / "pictures").iterdir())
    assert [path.suffix for path in written] == [".png", ".svg"]
    assert all(str(path.relative_to(folder)) in ran.err for path in written)
    with Records(folder / "records.sqlite") as records:
        records.start_session("sweep", bench="board")
    none = run("records", "draw", "2", "pictures")
    assert none.code != 0
    assert "no travel curve" in none.talk
    assert run("records", "draw", "9", "pictures").code != 0


def test_a_calibration_is_drawn_when_asked(folder):
    ran = run(
        "calibrate", "millrace.toml", "A1", "--port", "sim:", "--yes", "--quick", "--draw", "p"
    )
    assert ran.code == 0
    assert len(list((folder / "p").iterdir())) == 2

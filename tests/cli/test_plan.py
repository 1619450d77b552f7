"""The plan as a builder meets it: choices, reasons, files and drawings."""

import difflib
import math
from pathlib import Path
from xml.etree import ElementTree

import pytest

from hingeline.model.reading import read_model
from tests.cli.running import run


def change(old, new, source="millrace.toml", target="changed.toml"):
    text = Path(source).read_text("utf-8")
    assert old in text
    Path(target).write_text(text.replace(old, new, 1), "utf-8")
    return target


def test_choices_are_ranked_each_with_its_reason():
    found = run("plan", "millrace.toml", "elevator", "--choose", "--json").figures["surfaces"][0]
    assert found["combinations"] == 81  # 3 arm holes, 3 horn holes, 9 teeth
    assert 0 < found["fit"] < 81
    best, *others = found["choices"]
    assert (best["arm_hole"], best["horn_hole"], best["teeth_lean"]) == (1, 3, 0)
    assert best["why"].startswith("uses ")
    assert all(option["why"] for option in others)
    assert all(not option["fit"] for option in found["rejected"])


def test_choices_as_text_name_what_did_not_fit():
    ran = run("plan", "millrace.toml", "left aileron", "--choose")
    assert ran.code == 0
    assert "Choices for left aileron: " in ran.out
    assert "1 tooth (14.4 deg) away" in ran.out
    assert "Not fit, the nearest miss first:" in ran.out


def test_set_backs_are_tried_when_named():
    arguments = ["plan", "millrace.toml", "rudder", "--choose", "--json"]
    found = run(*arguments, "--set-back", "-2 mm", "--set-back", "0 mm").figures["surfaces"][0]
    assert found["combinations"] == 162
    assert found["choices"][0]["set_back_mm"] == 0.0
    assert "set-back" in run(*arguments[:-1], "--set-back", "-2 mm", "--set-back", "0 mm").out


def test_one_choice_is_explained():
    ran = run("plan", "millrace.toml", "--why", "elevator", "3", "1")
    assert "Arm hole 3 with horn hole 1 for elevator" in ran.out
    assert "of the servo's travel instead of" in " ".join(ran.out.split())
    refused = run("plan", "millrace.toml", "--why", "elevator", "4", "1")
    assert refused.code == 3
    assert "there is no arm hole 4" in refused.err


def test_the_best_choices_go_into_a_copy_and_remarks_stay():
    ran = run("plan", "millrace.toml", "--write", "chosen.toml")
    assert ran.code == 0
    before = Path("millrace.toml").read_text("utf-8").splitlines()
    after = Path("chosen.toml").read_text("utf-8").splitlines()
    added = [line for line in difflib.ndiff(before, after) if line.startswith("+ ")]
    assert added
    assert all(line.startswith(("+ arm = ", "+ horn = ")) for line in added)
    elevator = read_model(Path("chosen.toml")).surface("elevator")
    assert (elevator.arm.hole, elevator.horn.hole) == (1, 3)
    again = run("plan", "millrace.toml", "--write", "chosen.toml")
    assert again.code == 3
    assert "it was left as it is" in again.err


def test_holes_left_open_are_chosen():
    name = change(
        'hole = 2, teeth_lean = 0 }\nhorn = { side = "top"',
        'teeth_lean = 0 }\nhorn = { side = "top"',
    )
    text = Path(name).read_text("utf-8")
    Path(name).write_text(
        text.replace(
            '"19 mm"], hole = 3, set_back = "0 mm" }\nrod = { diameter = "1.5 mm"',
            '"19 mm"], set_back = "0 mm" }\nrod = { diameter = "1.5 mm"',
            1,
        ),
        "utf-8",
    )
    found = run("plan", name, "elevator", "--json").figures["surfaces"][0]
    assert found["holes_chosen_here"]
    assert (found["arm_hole"], found["horn_hole"]) == (1, 3)
    assert "these were chosen" in run("plan", name, "elevator").out


def test_without_a_fit_choice_it_says_what_would_help():
    name = change(
        'throws = { left = "22 deg", right = "22 deg" }',
        'throws = { left = "31 deg", right = "31 deg" }',
    )
    text = Path(name).read_text("utf-8").replace('"900 us", "2100 us"', '"1300 us", "1700 us"')
    Path(name).write_text(text, "utf-8")
    ran = run("plan", name, "rudder", "--choose")
    assert "None gives the throws wanted" in ran.out
    assert "an arm hole " in ran.out
    assert "a servo travel of " in " ".join(ran.out.split())
    refused = run("plan", name, "rudder", "--write", "no.toml")
    assert refused.code == 4
    assert not Path("no.toml").exists()


@pytest.mark.parametrize("name", ["left aileron", "right aileron"])
def test_a_lean_the_wrong_way_round_is_flagged_loudly(name):
    number = 1 if name.startswith("left") else 2
    text = Path("millrace.toml").read_text("utf-8")
    parts = text.split("teeth_lean = 1 }")
    parts[number - 1] += "teeth_lean = -1 }"
    text = "".join(
        part + ("" if index in (number - 1, len(parts) - 1) else "teeth_lean = 1 }")
        for index, part in enumerate(parts)
    )
    Path("wrong.toml").write_text(text, "utf-8")
    out = " ".join(run("plan", "wrong.toml", name).out.split())
    assert "WRONG WAY ROUND: up should go further than down" in out
    assert "lean the arm 1 tooth (14.4 deg) AWAY from the hinge line: up " in out


def test_details_are_complete_and_finite():
    for surface in run("plan", "millrace.toml", "--json").figures["surfaces"]:
        rod, load = surface["rod"], surface["load"]
        assert rod["length_mm"] == pytest.approx(surface["rod_length_mm"])
        for estimate in ("thin_aerofoil", "upper_estimate"):
            assert load[estimate]["torque_nm"] > 0
            assert load[estimate]["margin"] > 1
        assert load["upper_estimate"]["torque_nm"] >= load["thin_aerofoil"]["torque_nm"]
        assert 0 < surface["tolerance"]["within"] < 1
        low, high = surface["radio_limits_us"]
        assert 900 <= low < min(surface["pulse_us"].values())
        assert max(surface["pulse_us"].values()) < high <= 2100
        assert math.isfinite(surface["slop"]["worst"]["total_deg"])
        assert surface["slop"]["worst"]["total_deg"] >= surface["slop"]["neutral"]["total_deg"]


def test_the_radio_must_stop_before_the_free_travel():
    name = change(
        'free_travel = { left = "32 deg", right = "32 deg" }',
        'free_travel = { left = "24 deg", right = "25 deg" }',
    )
    wide = run("plan", "millrace.toml", "rudder", "--json").figures["surfaces"][0]
    tight = run("plan", name, "rudder", "--json").figures["surfaces"][0]
    assert wide["radio_limits_us"] == [900, 2100]
    low, high = tight["radio_limits_us"]
    assert 900 < low < high < 2100
    # Left is the pushed way of a horn on the right; this servo turns that way with less pulse.
    assert 1500 - low < high - 1500


def test_what_the_file_does_not_say_is_not_guessed():
    name = change('airspeed = "22 m/s"', "#")
    surface = run("plan", name, "rudder", "--json").figures["surfaces"][0]
    assert surface["load"]["thin_aerofoil"] is None
    assert "airspeed" in surface["load"]["missing"][0]
    assert "No load of the air" in run("plan", name, "rudder").out


def test_the_rods_of_the_model_are_listed():
    plan = run("plan", "millrace.toml", "--json").figures
    pieces = sum(len(row["pieces_mm"]) for row in plan["rods"])
    assert pieces == len(plan["surfaces"])
    assert "Rods for these surfaces" in run("plan", "millrace.toml").out


@pytest.mark.slow
def test_drawings_are_made_and_named():
    ran = run("plan", "millrace.toml", "left aileron", "--draw", "drawings")
    assert ran.code == 0
    names = sorted(path.name for path in Path("drawings").iterdir())
    assert names == [
        "left-aileron-linkage.png",
        "left-aileron-linkage.svg",
        "left-aileron-throw.png",
        "left-aileron-throw.svg",
    ]
    for name in names:
        assert name in ran.err
        if name.endswith(".svg"):
            assert ElementTree.parse(Path("drawings") / name).getroot().tag.endswith("svg")


def test_the_rod_on_the_other_side_of_the_arm_is_judged_as_well():
    arguments = ["plan", "millrace.toml", "left aileron", "--choose", "--json"]
    filed = run(*arguments).figures["surfaces"][0]["choices"][0]
    other = run(*arguments, "--other-side").figures["surfaces"][0]["choices"][0]
    # Square on either side lies the same way off the line from spindle to horn: the rod is as
    # long, but it meets the horn at another angle.
    assert other["rod_length_mm"] == pytest.approx(filed["rod_length_mm"])
    assert abs(other["equal_turns_deg"]["down"] - filed["equal_turns_deg"]["down"]) > 0.2
    assert run("plan", "millrace.toml", "--other-side", "--write", "x.toml").code == 2


def test_where_the_linkage_ends_is_told_when_it_is_near():
    surfaces = run("plan", "millrace.toml", "--json").figures["surfaces"]
    for surface in surfaces:
        for end in surface["linkage_ends"]:
            assert end["what"] in {"locks", "turns back"}
            assert abs(end["servo_deg"]) > max(map(abs, surface["servo_deg"].values()))
    name = change(
        'throws = { left = "22 deg", right = "22 deg" }',
        'throws = { left = "32 deg", right = "32 deg" }',
    )
    text = " ".join(run("plan", name, "rudder").out.split())
    assert "deg beyond its throw" in text


@pytest.mark.parametrize("wanted", ["13 deg", "16.2 deg", "19 deg", "22.5 deg"])
def test_what_was_written_is_planned_without_a_warning_of_reach(wanted):
    name = change(
        '{ up = "13 deg", down = "13 deg" }', f'{{ up = "{wanted}", down = "{wanted}" }}'
    )
    assert run("plan", name, "elevator", "--write", "w.toml").code == 0
    found = run("plan", "w.toml", "elevator", "--json").figures["surfaces"][0]
    assert None not in found["pulse_us"].values()
    assert not [line for line in found["warnings"] if "pulse limits allow" in line]


def test_a_surface_that_turns_back_inside_the_pulse_limits_is_told():
    name = change('rate = "0.09 deg/us"', 'rate = "0.16 deg/us"')
    aileron = run("plan", name, "left aileron", "--json").figures["surfaces"][0]
    assert any("turns back at" in line and "down" in line for line in aileron["warnings"])


def test_play_that_is_not_given_is_said_not_to_be_known():
    name = change(', play = "0.1 mm"', "")
    text = " ".join(run("plan", name, "left aileron").out.split())
    assert "Slop: 0.0 deg" not in text
    assert "Slop: " in text


def test_a_servo_that_is_too_weak_makes_a_choice_unfit():
    arguments = ["plan", "millrace.toml", "rudder", "--choose", "--json"]
    strong = run(*arguments).figures["surfaces"][0]
    assert all(choice["servo_margin"] >= 1 for choice in strong["choices"])
    # The choice looks at the throws only; the load of what is built looks at all the way
    # between them too, where it may be a little harder.
    assert run("plan", "millrace.toml", "rudder", "--write", "w.toml").code == 0
    built = run("plan", "w.toml", "rudder", "--json").figures["surfaces"][0]
    whole = built["load"]["upper_estimate"]["margin"]
    assert whole <= strong["choices"][0]["servo_margin"] <= 1.1 * whole
    text = Path("millrace.toml").read_text("utf-8").replace('"2.2 kg cm"', '"0.2 kg cm"')
    Path("weak.toml").write_text(text, "utf-8")
    weak = run("plan", "weak.toml", "rudder", "--choose", "--json").figures["surfaces"][0]
    assert weak["fit"] < strong["fit"]
    assert any("of the torque" in choice["why"] for choice in weak["rejected"])

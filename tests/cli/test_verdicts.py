"""What throw and pair conclude from what is typed: which way, how far, and whether it passes."""

import numpy as np
import pytest

from hingeline.linkage.closure import surface_angle
from hingeline.linkage.mounting import mounted
from hingeline.model.reading import read_model
from hingeline.model.words import say, sign_of
from hingeline.travel.setting import setting_of
from tests.cli.running import run

PAIR = ("pair", "millrace.toml", "--port", "sim:", "--yes", "--by-hand")
THROW = ("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--by-hand")
#: Left and right at five points of the stick; positive stick asks the right side to go up.
GOOD = [
    ("up 15", "down 11"),
    ("up 7.5", "down 5.5"),
    ("0", "0"),
    ("down 5.5", "up 7.5"),
    ("down 11", "up 15"),
]


def typed(points):
    return [answer for point in points for answer in point]


def other(answer):
    """Swap the words up and down."""
    return {"up": "down", "down": "up"}.get(answer.split()[0], answer) + answer[
        len(answer.split()[0]) :
    ]


def checked(points, *options):
    return run(*PAIR, "--json", *options, typed=typed(points))


def test_both_sides_alike_pass_even_with_differential():
    ran = checked(GOOD)
    assert ran.code == 0
    figures = ran.figures
    assert figures["pass"] is True
    assert figures["worst_mismatch_deg"] == 0
    assert [point["stick"] for point in figures["points"]] == [-1, -0.5, 0, 0.5, 1]
    for point, (left, right) in zip(figures["points"], GOOD, strict=True):
        for side, answer in (("left", left), ("right", right)):
            size = float(answer.split()[-1])
            sign = -1 if answer.startswith("down") else 1
            assert point[side]["measured_deg"] == pytest.approx(sign * size)
            assert {"pulse_us", "predicted_deg", "right_way"} <= set(point[side])
    assert figures["positive"] == "up"


def test_differential_swapped_between_the_sides_fails_though_the_totals_are_equal():
    # Left: up 10, down 15. Right: up 15, down 10.
    swapped = [
        ("up 10", "down 10"),
        ("up 5", "down 5"),
        ("0", "0"),
        ("down 7.5", "up 7.5"),
        ("down 15", "up 15"),
    ]
    left_up_15 = [(left, other(left)) for left, _ in GOOD]
    for points in (swapped, left_up_15):
        ran = checked(points)
        assert ran.code == 1
        assert ran.figures["pass"] is False
        assert ran.figures["worst_mismatch_deg"] >= 4


def test_both_reversed_fails_though_they_move_opposite_ways():
    ran = checked([(other(left), other(right)) for left, right in GOOD])
    assert ran.code == 1
    assert ran.figures["pass"] is False
    assert len(ran.figures["wrong_way"]) == 8
    shown = run(*PAIR, typed=typed([(other(left), other(right)) for left, right in GOOD]))
    assert "WRONG WAY: left aileron at -100 % stick." in shown.out
    words = " ".join(shown.out.split())
    assert "reverse the channel in the radio; never swap the servo's wires" in words
    assert "FAIL" in shown.out
    assert "PASS" not in shown.out


def test_ends_that_match_do_not_hide_the_middle():
    ran = checked([*GOOD[:3], ("down 5.5", "up 9.5"), GOOD[4]])
    assert ran.code == 1
    # Compared where left should do the same: at the opposite stick it went up 7.5.
    assert ran.figures["worst_at_stick"] == 0.5
    assert ran.figures["worst_mismatch_deg"] == pytest.approx(2.0)
    assert checked([*GOOD[:3], ("down 5.5", "up 9.5"), GOOD[4]], "--tolerance", "2.5 deg").figures[
        "pass"
    ]


def test_the_direction_must_be_typed_and_yes_is_no_direction():
    ran = run(*PAIR, typed=["y", "15", *typed(GOOD)])
    assert ran.code == 0
    assert "'y' is not a number" in ran.talk
    assert "'15' does not say which way. Type up or down before it." in ran.talk


def test_a_pair_that_moves_together(folder):
    text = (folder / "millrace.toml").read_text()
    (folder / "flaps.toml").write_text(text.replace('moves = "opposite"', 'moves = "together"'))
    command = ("pair", "flaps.toml", "--port", "sim:", "--yes", "--by-hand", "--json")
    both = [right for _, right in GOOD]
    ran = run(*command, typed=[answer for right in both for answer in (right, right)])
    assert ran.code == 0
    assert ran.figures["moves"] == "together"
    assert run(*command, typed=typed(GOOD)).code == 1


def test_the_finding_is_kept(folder):
    del folder
    checked(GOOD)
    shown = run("records", "show", "1", "--json").figures
    (finding,) = shown["findings"]
    assert finding["subject"] == "left aileron / right aileron"
    assert finding["figures"]["pass"] is True
    assert len(shown["readings"]) == 10


def test_a_throw_that_goes_the_wrong_way_is_shouted():
    ran = run(*THROW, typed=["right 22", "right 21,5"])
    assert ran.code == 1
    words = " ".join(ran.out.split())
    assert "WRONG WAY: rudder was sent left and went right 22.0 deg." in words
    assert "never swap the servo's wires" in words
    assert words.count("WRONG WAY") == 1
    figures = run(*THROW, "--json", typed=["right 22", "right 21,5"]).figures
    left, right = figures["surfaces"][0]["throws"]
    assert (left["measured_deg"], left["right_way"]) == (-22.0, False)
    assert (right["measured_deg"], right["right_way"]) == (21.5, True)


def test_a_bare_number_is_in_the_direction_that_was_sent():
    figures = run(*THROW, "--json", typed=["22", "21"]).figures
    assert [row["measured_deg"] for row in figures["surfaces"][0]["throws"]] == [22.0, 21.0]


def test_mm_are_read_at_the_chord_of_the_file():
    ran = run(*THROW, "--gauge", "straight", "--json", typed=["left 20", "right 20,5 mm"])
    assert "at the 60 mm chord, mm straight" in ran.err
    left, _ = ran.figures["surfaces"][0]["throws"]
    # 2 asin(20 / 120)
    assert left["measured_deg"] == pytest.approx(19.188, abs=0.001)


def test_four_throws_that_miss_the_plan_are_diagnosed(folder):
    asked = [
        word
        for way in ("left 20", "left 10", "right 10", "right 20")
        for word in ("--throw", f"{way} deg")
    ]
    # What an arm fitted two teeth off would show, on the exact linkage.
    model = read_model(folder / "millrace.toml")
    rudder = model.surface("rudder")
    setting = setting_of(rudder, model.servos["R1"], None)
    built = mounted(rudder, setting.servo, off_lean_deg=28.8)
    typed = []
    for wanted in (20.0, 10.0, -10.0, -20.0):
        shaft = np.radians(setting.shaft_deg(sign_of(rudder, "left") * wanted))
        typed.append(say(rudder, float(np.degrees(surface_angle(built, shaft)))))
    ran = run(*THROW, *asked, typed=typed)
    words = " ".join(ran.out.split())
    assert "NOT AS PLANNED: rudder" in words
    assert "Refit it 2 teeth towards the hinge line" in words
    assert "the rod's length does not matter" in words
    found = run(*THROW, *asked, "--json", typed=typed).figures["surfaces"][0]["diagnosis"]
    assert found["causes"][0]["name"] == "lean"


def test_a_side_that_stands_still_is_not_said_to_go_the_wrong_way():
    still = [("0", "down 11"), *GOOD[1:]]
    ran = run(*PAIR, typed=typed(still))
    assert ran.code == 1
    words = " ".join(ran.out.split())
    assert "NOT MOVED: left aileron" in words
    assert "WRONG WAY" not in words


def test_the_mismatch_is_explained_in_the_word_that_its_sign_means():
    ran = run(*PAIR, typed=typed(GOOD))
    words = " ".join(ran.out.split())
    assert "how much further up left aileron stands at the opposite stick" in words

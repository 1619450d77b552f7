"""Planar four-bars whose answers are printed in text-books and course solutions.

Status of each figure: "seen" means the printed page or a copy of it was read, "memory" that
the printed figure is recalled; all were recomputed by solvers that share no formula with ours.
"""

from __future__ import annotations

import numpy as np
import pytest

from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Crank, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.limits import reach, shaft_limits
from tests.linkage.shapes import four_bar, rest_deg


def output_deg(lengths: tuple[float, ...], input_deg: float, *, crossed: bool = False) -> float:
    linkage = four_bar(*lengths, crossed=crossed)
    turned = np.degrees(surface_angle(linkage, np.radians(input_deg)))
    return float((turned + rest_deg(crossed=crossed) + 180.0) % 360.0 - 180.0)


NORTON = (40.0, 120.0, 80.0, 100.0)


def test_norton_example_4_1_positions():
    # R. L. Norton, Design of Machinery, McGraw-Hill, Example 4-1 (memory, recomputed).
    assert output_deg(NORTON, 40.0) == pytest.approx(57.33, abs=0.006)
    assert output_deg(NORTON, 40.0, crossed=True) == pytest.approx(-98.01, abs=0.01)


@pytest.mark.parametrize(
    ("crossed", "coupler_deg"), [(False, 20.30), (True, -60.98)], ids=["open", "crossed"]
)
def test_norton_example_4_1_coupler(crossed: bool, coupler_deg: float):
    # The same example prints the coupler's angle too (memory, recomputed).
    linkage, shaft = four_bar(*NORTON, crossed=crossed), np.radians(40.0)
    x, y, _ = linkage.horn.tip_at(surface_angle(linkage, shaft)) - linkage.arm.tip_at(shaft)
    assert np.degrees(np.arctan2(y, x)) == pytest.approx(coupler_deg, abs=0.005)


@pytest.mark.parametrize(
    ("crossed", "w4_per_w2"), [(False, 0.279919), (True, -0.815107)], ids=["open", "crossed"]
)
def test_norton_example_4_1_velocity_ratio(crossed: bool, w4_per_w2: float):
    # Own computation on the example's data, by a sin(t2 - t3) / (c sin(t4 - t3)).
    value = ratio(four_bar(*NORTON, crossed=crossed), np.radians(40.0))
    assert value == pytest.approx(w4_per_w2, abs=5e-7)


def test_norton_example_4_1_transmission_angle():
    # cos mu = (b^2 + c^2 - a^2 - d^2 + 2 a d cos t2) / (2 b c); extremes at t2 = 0 and 180 deg,
    # Norton, chapter 4 (memory). Own computation on the example's data.
    angles = np.degrees(rod_angles(four_bar(*NORTON), np.radians([40.0, 0.0, 180.0])).horn_rad)
    assert angles == pytest.approx([37.026997, 26.384330, 86.416678], abs=5e-7)


def test_crank_rocker_with_a_swing_of_75_degrees():
    # "Solution to HW 2", a mechanisms course: output swing 75 deg, extreme transmission angles
    # 31.63 and 100.79 deg (seen). The output length follows from its printed chord of 138.8 mm.
    output = 138.8 / (2.0 * np.sin(np.radians(37.5)))
    linkage = four_bar(63.5, 165.5, output, 154.34)
    travel = reach(linkage, -np.pi, np.pi)
    assert np.degrees(travel.high_rad - travel.low_rad) == pytest.approx(75.0, abs=0.03)
    extremes = np.degrees(rod_angles(linkage, [0.0, np.pi]).horn_rad)
    assert extremes == pytest.approx([31.63, 100.79], abs=0.03)
    # Its dead positions stand at the output's pivot distances b - a and b + a from the input's.
    for shaft in (travel.at_low_rad, travel.at_high_rad):
        tip = linkage.horn.tip_at(surface_angle(linkage, shaft))
        stretched, folded = abs(np.hypot(*tip[:2]) - 229.0), abs(np.hypot(*tip[:2]) - 102.0)
        assert min(stretched, folded) < 1e-9


@pytest.mark.parametrize(
    ("lengths", "ground_deg", "input_deg", "opened", "crossed", "tolerance"),
    [
        # Purdue University, ME 352 Machine Design I, Fall 2010, Solution to Homework 2 (seen);
        # measured there on a drawing at 1 in = 8 in, hence 1 deg.
        ((8.0, 14.0, 12.0, 16.0), 15.0, 30.0, 97.0, -95.0, 1.0),
        # The next four give published data (seen) and answers confirmed by several solvers:
        # Purdue ME 352, Spring 2011, Homework 2.
        ((7.0, 10.0, 8.0, 14.0), 0.0, 60.0, 94.903457, -154.903457, 1e-6),
        # Purdue ME 352, Spring 2012, Homework 2.
        ((2.0, 6.0, 3.5, 6.0), 60.0, 90.0, 128.314887, -34.688458, 1e-6),
        # University of Michigan, ME 350, Winter 2010, Homework 4.
        ((2.0, 7.0, 6.0, 10.0), 0.0, 0.0, 122.089951, -122.089951, 1e-6),
        # P. E. Nikravesh, Planar Multibody Dynamics, CRC, Example 5.2.
        ((0.1, 0.3, 0.22, 0.2), 0.0, 45.0, 43.466350, -100.816450, 1e-6),
    ],
    ids=["purdue-2010", "purdue-2011", "purdue-2012", "michigan-2010", "nikravesh-5.2"],
)
def test_four_bars_from_courses(
    lengths: tuple[float, ...],
    ground_deg: float,
    input_deg: float,
    opened: float,
    crossed: float,
    tolerance: float,
):
    inner = input_deg - ground_deg
    assert output_deg(lengths, inner) + ground_deg == pytest.approx(opened, abs=tolerance)
    other = output_deg(lengths, inner, crossed=True) + ground_deg
    assert other == pytest.approx(crossed, abs=tolerance)


def test_input_limit_of_a_non_grashof_linkage():
    # Purdue ME 352, Spring 2011 (data seen); limit by Norton eq. 4.37 (memory):
    # t2 = acos((a^2 + d^2 - b^2 - c^2) / (2 a d) + b c / (a d)).
    limits = shaft_limits(four_bar(7.0, 10.0, 8.0, 14.0))
    assert np.degrees([limits.low_rad, limits.high_rad]) == pytest.approx(
        [-113.769690, 113.769690], abs=1e-6
    )


def test_nikravesh_example_5_2_velocity():
    # P. E. Nikravesh, Planar Multibody Dynamics, CRC, Example 5.2: input at 1.5 rad/s (seen).
    # Output speed by a second method, not read in print.
    linkage = four_bar(0.1, 0.3, 0.22, 0.2)
    assert 1.5 * ratio(linkage, np.radians(45.0)) == pytest.approx(0.716076, abs=5e-7)


@pytest.mark.parametrize(
    ("rest", "joint_c"),
    [((-1.0, 0.0), (0.0400698, 0.449788)), ((0.0, -1.0), (0.449788, 0.0400698))],
    ids=["upper", "lower"],
)
def test_marghitu_r_rrr_mechanism(rest: tuple[float, float], joint_c: tuple[float, float]):
    # D. B. Marghitu, Mechanisms and Robots Analysis with MATLAB, Springer 2009, appendix A.2:
    # AB 0.15, BC 0.35, CD 0.30 m, D at (0.30, 0.30) m, input at 45 deg (memory, recomputed).
    pivot = np.array([0.3, 0.3, 0.0])
    arm = Crank((0, 0, 0), (0, 0, 1), (0.15 * np.sqrt(0.5), 0.15 * np.sqrt(0.5), 0))
    linkage = Linkage(arm, Crank(pivot, (0, 0, 1), pivot + 0.3 * np.array([*rest, 0.0])), 0.35)
    assert linkage.horn.tip_at(surface_angle(linkage, 0.0))[:2] == pytest.approx(joint_c, abs=5e-7)


def test_marghitu_slider_crank_as_a_four_bar_with_a_very_long_output():
    # The same book, appendix A.1 (seen): AB 0.5, BC 1 m, 45 deg; B = (0.353553, 0.353553),
    # C at x = 1.28897 m, coupler at -20.7048 deg. A slider is a horn of endless length: with
    # 1e4 m its arc leaves the line by less than 1e-8 m here. (Longer is not better: rounding
    # grows with the square of horn over rod, to 1e-4 m at 1e6 m.)
    far = 1e4
    arm = Crank((0, 0, 0), (0, 0, 1), (0.5, 0, 0))
    slider = Crank((1.3, -far, 0), (0, 0, 1), (1.3, 0, 0))
    linkage, shaft = Linkage(arm, slider, 1.0), np.radians(45.0)
    b, c = arm.tip_at(shaft), slider.tip_at(surface_angle(linkage, shaft))
    assert b[:2] == pytest.approx([0.353553, 0.353553], abs=5e-7)
    assert c[0] == pytest.approx(1.28897, abs=5e-6)
    assert c[1] == pytest.approx(0.0, abs=1e-8)
    assert np.degrees(np.arctan2(*(c - b)[1::-1])) == pytest.approx(-20.7048, abs=5e-5)


@pytest.mark.parametrize(("arm_rest_deg", "answer_deg"), [(60.0, 32.0152), (-60.0, -9.747105)])
def test_freudenstein_exercise(arm_rest_deg: float, answer_deg: float):
    # R1 cos a - R2 cos b + R3 - cos(a - b) = 0 with R1 = 5/3, R2 = 5/2, R3 = 11/6, a = 40 deg,
    # set in several numerical-methods texts: b = 32.0152 deg (memory); second root computed.
    # By Freudenstein's equation (Trans. ASME 77 (1955) 853-861, memory) these are the lengths
    # 6, 8, 4, 10, with the angle at the output known and the one at the input asked for.
    rest = np.radians(arm_rest_deg)
    arm = Crank((0, 0, 0), (0, 0, 1), (6 * np.cos(rest), 6 * np.sin(rest), 0))
    linkage = Linkage(arm, Crank((10, 0, 0), (0, 0, 1), (14, 0, 0)), 8.0)
    found = np.degrees(shaft_angle(linkage, np.radians(40.0))) + arm_rest_deg
    assert found == pytest.approx(answer_deg, abs=5e-5)

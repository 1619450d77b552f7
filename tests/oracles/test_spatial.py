"""Spatial linkages: a published multibody series, and cases with an exact law."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Crank, Linkage, ratio, surface_angle
from hingeline.linkage.limits import dead_points
from tests.linkage.shapes import four_bar, level_linkage, rest_deg

SERIES = Path(__file__).parent / "data" / "rssr_multibody.csv"


@pytest.fixture(scope="module")
def published() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    table = np.loadtxt(SERIES, delimiter=",", comments="#", skiprows=10)
    assert table.shape == (238, 3)
    return tuple(table.T)


@pytest.fixture(scope="module")
def published_linkage() -> Linkage:
    # G. Cremasco Coelho, Mechanism and Machine Theory 215 (2025) 106163; lengths in mm.
    input_tip = 201.6318 * np.array([-0.379646, 0.400777, 0.833815])
    arm = Crank((0, 0, 0), (0.009243, -0.951003, 0.309043), input_tip)
    pivot, tilt = 403.1627 * np.array([0.524328, 0.835662, -0.163552]), np.radians(7.294)
    # The output's angle is counted from its y direction; rest there is near enough for the
    # branch, and the rod's given length finds the true angle.
    rest = np.array([-np.sin(tilt), np.cos(tilt) * np.cos(1.7), np.cos(tilt) * np.sin(1.7)])
    return Linkage(arm, Crank(pivot, (1, 0, 0), pivot + 201.6318 * rest), 350.0)


def test_published_series_of_output_angles(published, published_linkage):
    input_deg, output_rad, _ = published
    found = surface_angle(published_linkage, np.radians(input_deg)) + 1.7
    # Half a unit of the third figure, and a little for where the source rounds its data.
    assert np.max(np.abs(found - output_rad)) < 0.0055


def test_published_series_of_torque_ratios(published, published_linkage):
    input_deg, _, torque = published
    usable = input_deg > -234.0  # nearer to the singularity the published figures drift by 1 %
    found = ratio(published_linkage, np.radians(input_deg[usable]))
    size = np.abs(torque[usable])
    allowed = np.select([size < 0.1, size < 1.0], [1e-4, 8e-4], 5.5e-3)
    assert usable.sum() == 234
    assert np.all(np.abs(found - torque[usable]) < allowed)


def test_published_dead_position(published_linkage):
    # The published ratio changes sign between -60 and -61 deg.
    assert -61.0 < np.degrees(dead_points(published_linkage).low_rad) < -60.0


@pytest.mark.parametrize("beta_deg", [20.0, 30.0, 45.0])
def test_hooke_joint(beta_deg: float):
    # Law of the Hooke (Cardan) joint, tan s = tan t cos beta, ds/dt = cos beta / (1 -
    # sin^2 beta sin^2 t); after Shigley and Uicker, Theory of Machines and Mechanisms (memory).
    beta = np.radians(beta_deg)
    output_axis = np.array([np.sin(beta), 0.0, np.cos(beta)])
    arm = Crank((0, 0, 0), (0, 0, 1), (0, 1, 0))
    horn = Crank((0, 0, 0), output_axis, np.cross(output_axis, (0, 1, 0)))
    joint = Linkage(arm, horn, np.sqrt(2.0))
    t = np.radians(np.arange(-175, 176, 5))
    law = np.arctan2(np.sin(t) * np.cos(beta), np.cos(t))
    assert np.max(np.abs(surface_angle(joint, t) - law)) < 4e-15
    slope = np.cos(beta) / (1.0 - (np.sin(beta) * np.sin(t)) ** 2)
    assert np.max(np.abs(ratio(joint, t) - slope)) < 1e-14
    assert ratio(joint, [0.0, np.pi / 2]) == pytest.approx([np.cos(beta), 1.0 / np.cos(beta)])


@pytest.mark.parametrize(
    ("crossed", "t4_deg"), [(False, 57.324880), (True, -98.004964)], ids=["open", "crossed"]
)
def test_parallel_axes_with_offset_planes_are_a_planar_four_bar(crossed: bool, t4_deg: float):
    # Norton's Example 4-1 with the output 30 mm along the axis: coupler sqrt(120^2 + 30^2).
    linkage = four_bar(40, np.hypot(120, 30), 80, 100, crossed=crossed, offset=30.0)
    shaft = np.radians(40.0)
    found = np.degrees(surface_angle(linkage, shaft)) + rest_deg(crossed=crossed)
    assert found == pytest.approx(t4_deg, abs=1e-6)
    angles = rod_angles(linkage, shaft)
    out = np.arcsin(30.0 / np.hypot(120, 30))
    assert angles.arm_out_of_plane_rad == pytest.approx(out)
    assert angles.horn_out_of_plane_rad == pytest.approx(-out)
    plane = rod_angles(four_bar(40, 120, 80, 100, crossed=crossed), shaft)
    assert angles.horn_rad == pytest.approx(plane.horn_rad)
    assert angles.arm_rad == pytest.approx(plane.arm_rad)


def test_parallelogram_turns_alike():
    shaft = np.radians(np.linspace(-89.9, 89.9, 401))
    linkage = level_linkage(12.0, 12.0, 100.0)
    assert surface_angle(linkage, shaft) == pytest.approx(shaft, abs=1e-12)
    assert ratio(linkage, shaft) == pytest.approx(np.ones(401), abs=1e-9)


@pytest.mark.parametrize(
    ("lean_deg", "surface_deg"),
    [
        (0.0, [-45.000, -30.000, 30.000, 45.000]),
        (10.0, [-48.233, -31.016, 28.029, 40.359]),
        (20.0, [-49.554, -30.993, 25.325, 34.971]),
        (30.0, [-48.974, -30.000, 22.045, 29.100]),
    ],
)
def test_differential_of_a_leaning_arm(lean_deg: float, surface_deg: list[float]):
    # Own computation by another program: guards against change, proves nothing by itself.
    # Arm and horn 12 mm, pivots 100 mm apart, horn upright, arm leaning ahead, away from the
    # horn; positive turns the arm further ahead.
    lean = np.radians(lean_deg)
    arm = Crank((0, 0, 0), (0, 0, -1), (12 * np.sin(lean), 12 * np.cos(lean), 0))
    linkage = Linkage(arm, Crank((-100, 0, 0), (0, 0, -1), (-100, 12, 0)))
    found = np.degrees(surface_angle(linkage, np.radians([-45.0, -30.0, 30.0, 45.0])))
    assert found == pytest.approx(surface_deg, abs=5e-4)

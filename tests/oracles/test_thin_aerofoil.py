"""Hinge moments against published closed forms, their limits and a vortex sheet of our own."""

import math

import numpy as np
import pytest

from hingeline import units
from hingeline.linkage.aero import Airload, plain_flap

# b1, b2 and a2 per radian, then b1 and b2 per degree. E. L. Houghton & P. W. Carpenter,
# Aerodynamics for Engineering Students, 5th ed., section 4.5.1 (after H. Glauert, ARC R&M
# 1095), evaluated apart from this project: by quadrature of the load on the flap, and by
# Theodorsen's functions (NACA TR 496), which agree to the six decimals given.
TABLE = [
    (0.05, -0.241124, -0.866156, 1.77383, -0.00421, -0.01512),
    (0.10, -0.344856, -0.884229, 2.48700, -0.00602, -0.01543),
    (0.15, -0.427300, -0.903112, 3.01908, -0.00746, -0.01576),
    (0.20, -0.499382, -0.922877, 3.45459, -0.00872, -0.01611),
    (0.25, -0.565347, -0.943608, 3.82645, -0.00987, -0.01647),
    (0.30, -0.627407, -0.965403, 4.15159, -0.01095, -0.01685),
    (0.35, -0.686915, -0.988375, 4.44009, -0.01199, -0.01725),
    (0.40, -0.744804, -1.012657, 4.69847, -0.01300, -0.01767),
    (0.50, -0.858407, -1.065823, 5.14159, -0.01498, -0.01860),
    (0.60, -0.972695, -1.126632, 5.50390, -0.01698, -0.01966),
    (0.70, -1.091798, -1.197796, 5.79766, -0.01906, -0.02091),
    (0.80, -1.220984, -1.284057, 6.02859, -0.02131, -0.02241),
    (0.90, -1.369664, -1.395452, 6.19618, -0.02391, -0.02436),
    (1.00, -1.570796, -1.570796, 6.28319, -0.02742, -0.02742),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"E={row[0]:.2f}")
def test_the_table(row):
    part, b1, b2, a2, b1_per_deg, b2_per_deg = row
    found = plain_flap(part)
    # Half a unit of the last decimal.
    assert found.incidence == pytest.approx(b1, abs=5.01e-7)
    assert found.deflection == pytest.approx(b2, abs=5.01e-7)
    assert found.lift == pytest.approx(a2, abs=5.01e-6)
    assert math.radians(found.incidence) == pytest.approx(b1_per_deg, abs=5.01e-6)
    assert math.radians(found.deflection) == pytest.approx(b2_per_deg, abs=5.01e-6)


def test_the_whole_aerofoil_turning_about_its_nose():
    # Lift 2 pi per radian at a quarter of the chord.
    found = plain_flap(1.0)
    assert found.incidence == pytest.approx(-math.pi / 2.0, rel=1e-14)
    assert found.deflection == pytest.approx(-math.pi / 2.0, rel=1e-14)
    assert found.lift == pytest.approx(2.0 * math.pi, rel=1e-14)


def test_the_limit_of_a_narrow_flap():
    # Exact limits for E to 0: b2 to -8 / (3 pi), b1 / sqrt(E) to -16/15. Both are left in
    # proportion to E, so that twice E is twice as far off.
    limits = (("deflection", -8.0 / (3.0 * math.pi), 0.0), ("incidence", -16.0 / 15.0, 0.5))
    for name, limit, power in limits:
        off = [getattr(plain_flap(e), name) / e**power - limit for e in (0.001, 0.002)]
        assert abs(off[0]) < 0.001
        assert off[1] / off[0] == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize("part", [0.2, 0.5])
def test_a_sheet_of_vortices(part):
    # Thin-aerofoil theory from its integral equation: one vortex at a quarter of each panel,
    # no flow through the plate at three quarters; no closed form goes in. Panels of 1/400.
    panels = 400
    edge = np.arange(panels) / panels
    vortex, control = edge + 0.25 / panels, edge + 0.75 / panels
    inflow = 1.0 / (2.0 * np.pi * (control[:, np.newaxis] - vortex))
    on_flap = edge >= 1.0 - part - 1e-9
    lever = (vortex - (1.0 - part)) * on_flap
    for slope, name in ((np.ones(panels), "incidence"), (on_flap * 1.0, "deflection")):
        strength = np.linalg.solve(inflow, slope)
        moment = -2.0 * np.sum(strength * lever) / part**2
        assert moment == pytest.approx(getattr(plain_flap(part), name), abs=5e-3)
        if name == "deflection":
            assert 2.0 * np.sum(strength) == pytest.approx(plain_flap(part).lift, abs=1e-2)


def test_a_worked_surface():
    # Worked by hand: E 0.25, 20 deg, chord 50 mm, span 0.5 m, 30 m/s, 1.225 kg/m3. Pressure
    # 551.25 Pa, area times chord 0.00125 m3, coefficient -0.329381.
    air = Airload(part=0.25, area_chord_m3=0.5 * 0.05**2, airspeed_m_s=30.0)
    assert air.density_kg_m3 == 1.225  # ISO 2533, sea level
    assert air.unit_nm == pytest.approx(551.25 * 0.00125, rel=1e-14)
    moment = float(air.linear_nm(math.radians(20.0)))
    assert moment == pytest.approx(-0.22696, abs=5e-6)
    in_kg_cm = units.in_unit(moment, units.TORQUE, "kg cm")
    assert in_kg_cm == pytest.approx(-2.3144, abs=5.1e-5)


def test_45_ounce_inches_in_other_units():
    # The figure of the IMAA safety code for flight-critical controls of large models.
    torque = units.parse("45 oz in", units.TORQUE)
    assert torque == pytest.approx(0.317770, abs=5e-7)
    assert units.in_unit(torque, units.TORQUE, "kg cm") == pytest.approx(3.240350, abs=5e-7)


def test_the_upper_estimate_is_the_plate_of_the_handbook():
    # S. F. Hoerner, Fluid-Dynamic Drag, as quoted by others: normal force 1.607 on a plate at
    # 45 deg, 1.269 at 30 deg (worked by hand from his formula), here at half chord. A narrow
    # flap, whose linear estimate stays below.
    air = Airload(part=0.05, area_chord_m3=1.0, airspeed_m_s=math.sqrt(2.0 / 1.225))
    assert air.unit_nm == pytest.approx(1.0, rel=1e-14)
    assert float(air.upper_nm(math.radians(30.0))) == pytest.approx(-1.269 / 2.0, abs=3e-4)
    assert float(air.upper_nm(math.radians(45.0))) == pytest.approx(-1.607 / 2.0, abs=3e-4)
    assert float(air.upper_nm(math.radians(-45.0))) == pytest.approx(1.607 / 2.0, abs=3e-4)

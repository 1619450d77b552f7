"""Servo torque, rod force and buckling under the air's load."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hingeline.errors import LinkageError
from hingeline.linkage.aero import Airload, plain_flap
from hingeline.linkage.buckling import SAFETY, Section, buckling, section_of
from hingeline.linkage.closure import Linkage, shaft_angle, surface_angle
from hingeline.linkage.levers import levers
from hingeline.linkage.limits import shaft_limits
from hingeline.linkage.load import surface_load, worst_load
from hingeline.linkage.mounting import mounted
from hingeline.model.schema import Model, Speed
from tests.linkage.shapes import level_linkage, spatial_linkages
from tests.support import models


def spring(surface: np.ndarray) -> np.ndarray:
    """A hinge moment of 0.3 N m per radian against the deflection."""
    return -0.3 * surface


class TestHingeMoment:
    @pytest.mark.parametrize("part", [0.0, -0.2, 0.0009, 1.001, math.nan])
    def test_part_of_the_chord_must_be_one(self, part: float):
        with pytest.raises(LinkageError, match=r"outside 0\.001 to 1"):
            plain_flap(part)

    @given(st.floats(0.05, 1.0), st.floats(-1.5, 1.5), st.floats(1.0, 60.0))
    def test_it_grows_with_area_chord_and_the_square_of_the_speed(
        self, part: float, deflection: float, airspeed: float
    ):
        air = Airload(part, 1e-3, airspeed)
        twice, larger = Airload(part, 1e-3, 2.0 * airspeed), Airload(part, 5e-3, airspeed)
        for name in ("linear_nm", "upper_nm"):
            moment = float(getattr(air, name)(deflection))
            assert moment * deflection <= 0.0
            assert float(getattr(air, name)(-deflection)) == -moment
            assert float(getattr(twice, name)(deflection)) == pytest.approx(4.0 * moment)
            assert float(getattr(larger, name)(deflection)) == pytest.approx(5.0 * moment)
        assert abs(air.upper_nm(deflection)) >= abs(air.linear_nm(deflection))

    def test_incidence_in_the_sense_of_the_deflection_adds(self):
        air = Airload(0.25, 1e-3, 20.0)
        alone = float(air.linear_nm(0.2))
        assert float(air.linear_nm(0.2, 0.1)) < alone < float(air.linear_nm(0.2, -0.1)) < 0.0


class TestBuckling:
    def test_against_the_bending_equation_solved_by_differences(self):
        # E I w'' = -F w with w = 0 at both ends: least F of the differenced equation.
        section, length, n = Section(1.5, 0.0, 200.0), 130.0, 400
        off = np.ones(n - 2)
        second = np.diag(-2.0 * np.ones(n - 1)) + np.diag(off, 1) + np.diag(off, -1)
        least = np.linalg.eigvalsh(-second * (n / length) ** 2)[0]
        by_differences = section.stiffness_n_mm2 * least
        assert buckling(section, length, 1.0).holds_n == pytest.approx(by_differences, rel=1e-5)

    @pytest.mark.parametrize("inner", [0.0, 1.0, 2.9])
    def test_second_moment_and_gyration_by_summing_over_the_section(self, inner: float):
        radius = np.linspace(inner / 2.0, 1.5, 4001)
        ring = (radius[1:] + radius[:-1]) / 2.0
        area = 2.0 * np.pi * ring * np.diff(radius)
        second = np.sum(area * ring**2) / 2.0
        section = Section(3.0, inner, 70.0)
        assert section.second_moment_mm4 == pytest.approx(second, rel=1e-6)
        assert section.gyration_mm == pytest.approx(math.sqrt(second / area.sum()), rel=1e-6)

    @given(st.floats(10.0, 1000.0), st.floats(0.01, 100.0))
    def test_the_stretch_that_is_enough_is_enough(self, bare: float, push: float):
        section = Section(1.2, 0.0, 200.0)
        enough = buckling(section, bare, push).enough_mm
        assert buckling(section, enough, push).margin == pytest.approx(SAFETY)
        assert buckling(section, enough, push).enough_mm == pytest.approx(enough)

    def test_nothing_pushes(self):
        found = buckling(Section(1.2, 0.0, 200.0), 100.0, 0.0)
        assert found.margin == found.enough_mm == math.inf

    @pytest.mark.parametrize(("bare", "push"), [(0.0, 1.0), (-5.0, 1.0), (10.0, -1.0)])
    def test_what_makes_no_sense_is_refused(self, bare: float, push: float):
        with pytest.raises(LinkageError, match="makes no sense"):
            buckling(Section(1.2, 0.0, 200.0), bare, push)

    def test_a_tube_of_the_model_file(self):
        surface, _ = models.one(
            rod={"diameter": "4 mm", "inner_diameter": "3 mm", "material": "carbon"}
        )
        assert section_of(surface.rod) == Section(4.0, 3.0, 125.0)
        assert section_of(models.one()[0].rod).inner_mm == 0.0


class TestWorstLoad:
    def test_square_cranks_by_hand(self):
        # A moment of 0.3 N m at neutral, arm 12 on horn 15: torque 0.3 x 12 / 15, and the rod
        # carries 0.3 N m over 15 mm.
        found = worst_load(
            level_linkage(12.0, 15.0, 120.0),
            -1e-9,
            1e-9,
            lambda surface: np.full_like(surface, -0.3),
            stall_nm=0.96,
        )
        assert found.torque_nm == pytest.approx(0.24)
        assert found.push_n == pytest.approx(20.0)
        assert found.pull_n == 0.0
        assert found.margin == pytest.approx(0.5 * 0.96 / 0.24)  # half the stall torque
        assert found.buckling is None

    def test_the_other_way_round_the_rod_is_pulled(self):
        found = worst_load(
            level_linkage(12.0, 15.0, 120.0), -1e-9, 1e-9, lambda s: np.full_like(s, 0.3)
        )
        assert (found.push_n, found.pull_n) == pytest.approx((0.0, 20.0))
        assert found.margin is None

    def test_friction_and_derating(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        plain = worst_load(linkage, -0.7, 0.7, spring, stall_nm=1.0)
        rough = worst_load(linkage, -0.7, 0.7, spring, stall_nm=1.0, efficiency=0.8, derating=1.0)
        assert rough.torque_nm == pytest.approx(plain.torque_nm / 0.8)
        assert rough.margin == pytest.approx(2.0 * 0.8 * plain.margin)
        assert rough.push_n == plain.push_n

    def test_nothing_is_needed_without_air(self):
        found = worst_load(
            level_linkage(12.0, 15.0, 120.0), -0.5, 0.5, np.zeros_like, stall_nm=1.0
        )
        assert (found.torque_nm, found.push_n, found.pull_n) == (0.0, 0.0, 0.0)
        assert found.margin == math.inf

    @pytest.mark.parametrize("part", [0.0, 1.01, math.nan])
    @pytest.mark.parametrize("name", ["derating", "efficiency"])
    def test_parts_are_parts(self, name: str, part: float):
        with pytest.raises(LinkageError, match=f"{name} .* is not above 0"):
            worst_load(level_linkage(12.0, 15.0, 120.0), -0.5, 0.5, spring, **{name: part})

    def test_a_range_that_does_not_close_is_refused(self):
        with pytest.raises(LinkageError, match="cannot close"):
            worst_load(level_linkage(20.0, 15.0, 120.0), -0.5, 1.0, spring)

    def test_a_bare_stretch_longer_than_the_rod_is_refused(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        with pytest.raises(LinkageError, match=r"121 mm is longer than the rod, 120\.0 mm"):
            worst_load(linkage, -0.5, 0.5, spring, bare_mm=121.0)

    @given(spatial_linkages(), st.floats(-0.6, -0.05), st.floats(0.05, 0.6))
    def test_power_in_is_power_out(self, linkage: Linkage, low: float, high: float):
        limits = shaft_limits(linkage)
        assume(0.9 * limits.low_rad < low and high < 0.9 * limits.high_rad)
        # Work at the shaft against work at the surface, along the whole way and not only at
        # a point, with the force carried by the rod as the only thing between them.
        shaft = np.linspace(low, high, 4001)
        surface = surface_angle(linkage, shaft)
        lever = levers(linkage, shaft)
        force = spring(surface) / lever.horn_mm
        torque = force * lever.arm_mm
        at_shaft = np.sum((torque[1:] + torque[:-1]) / 2.0 * np.diff(shaft))
        at_surface = -0.3 * (surface[-1] ** 2 - surface[0] ** 2) / 2.0  # by hand
        assert at_shaft == pytest.approx(at_surface, abs=1e-5)
        found = worst_load(linkage, low, high, spring)
        assert found.torque_nm == pytest.approx(np.max(np.abs(torque)), rel=1e-4)
        place = np.radians([found.at_shaft_deg, found.at_surface_deg])
        assert surface_angle(linkage, place[0]) == pytest.approx(place[1], abs=1e-12)

    @given(spatial_linkages(), st.floats(0.2, 5.0))
    def test_a_linkage_twice_the_size_halves_the_forces(self, linkage: Linkage, scale: float):
        limits = shaft_limits(linkage)
        low, high = max(-0.5, 0.8 * limits.low_rad), min(0.5, 0.8 * limits.high_rad)
        assume(high - low > 0.01)

        def scaled(crank):
            return type(crank)(crank.pivot_mm * scale, crank.axis, crank.tip_mm * scale)

        larger = Linkage(scaled(linkage.arm), scaled(linkage.horn))
        one, other = (worst_load(each, low, high, spring) for each in (linkage, larger))
        assert other.torque_nm == pytest.approx(one.torque_nm, rel=1e-6)
        assert other.push_n * scale == pytest.approx(one.push_n, rel=1e-6)
        assert other.pull_n * scale == pytest.approx(one.pull_n, rel=1e-6)


def with_airspeed(model: Model, m_s: float) -> Model:
    header = msgspec.structs.replace(model.header, airspeed_m_s=Speed(m_s))
    return msgspec.structs.replace(model, header=header)


def load_of(model: Model, name: str = "left aileron"):
    surface = model.surface(name)
    linkage = mounted(surface, model.servo_of(surface))
    ends = sorted(float(shaft_angle(linkage, math.radians(angle))) for angle in (15.0, -11.0))
    return surface_load(model, surface, linkage, *ends)


GIVEN = {"span": "380 mm", "whole_chord": "180 mm"}
STALL = {"A1": models.servo(stall_torque="1.8 kg cm")}


class TestSurfaceLoad:
    def test_by_hand(self):
        # E 0.25 at 20 m/s: 245 Pa x 0.38 m x 0.045^2 m2 x 0.943608 x 15 deg.
        model = with_airspeed(models.model(models.surface(**GIVEN), servos=STALL), 20.0)
        found = load_of(model)
        hinge = 245.0 * 0.38 * 0.045**2 * 0.943608 * math.radians(15.0)
        assert found.linear.hinge_nm == pytest.approx(hinge, rel=1e-6)
        # Worst just before the full throw up, for towards its end the arm gains leverage
        # faster than the air gains moment. The ratio there by differences.
        surface = model.surfaces[0]
        linkage = mounted(surface, model.servo_of(surface))
        at = math.radians(found.linear.at_shaft_deg)
        low, high = surface_angle(linkage, at + np.array([-1e-6, 1e-6]))
        part = found.linear.at_surface_deg / 15.0
        assert 0.9 < part < 1.0
        slope = abs(high - low) / 2e-6
        assert found.linear.torque_nm == pytest.approx(hinge * part * slope, rel=1e-6)
        assert found.linear.margin == pytest.approx(0.5 * 1.8 * 0.0980665 / found.linear.torque_nm)
        assert found.upper.torque_nm > found.linear.torque_nm
        assert found.upper.margin < found.linear.margin
        # The servo 70 mm ahead, the arm of 6.4 square to the rod, the horn's hole 19 mm off.
        rod = math.sqrt(70.0**2 + 19.0**2 - 6.4**2)
        assert found.linear.buckling.bare_mm == pytest.approx(rod)
        assert found.missing == ()
        assert any("50 %" in said for said in found.assumed)
        assert any("200 GPa" in said for said in found.assumed)
        assert any("sea level" in said for said in found.assumed)
        assert any("whole" in said for said in found.assumed)
        assert len(found.remarks) == 1

    def test_what_the_file_does_not_give_is_named_and_nothing_is_guessed(self):
        bare = models.model(models.surface())
        found = load_of(bare)
        assert found.linear is found.upper is None
        assert found.missing[0] == (
            "No load of the air: airspeed of the model and span and whole_chord not given in "
            "the model file."
        )
        assert "stall_torque of servo A1" in found.missing[1]
        part = models.model(models.surface(span="380 mm"))
        assert load_of(with_airspeed(part, 20.0)).missing[0] == (
            "No load of the air: whole_chord not given in the model file."
        )

    def test_no_stall_torque_no_margin(self):
        found = load_of(with_airspeed(models.model(models.surface(**GIVEN)), 20.0))
        assert found.linear.margin is found.upper.margin is None
        assert found.linear.torque_nm > 0.0
        assert "stall_torque of servo A1" in found.missing[0]

    def test_where_the_estimates_stop_holding(self):
        steep = models.model(
            models.surface(throws={"up": "28 deg", "down": "11 deg"}, **GIVEN), servos=STALL
        )
        surface = steep.surfaces[0]
        linkage = mounted(surface, steep.servo_of(surface))
        ends = sorted(float(shaft_angle(linkage, a)) for a in np.radians([18.0, -11.0]))
        remarks = surface_load(with_airspeed(steep, 120.0), surface, linkage, *ends).remarks
        assert any("up to 18 deg" in remark for remark in remarks)
        assert any("100 m/s" in remark for remark in remarks)
        stout = models.surface(
            rod={"diameter": "4 mm", "material": "aluminium", "bare": "60 mm"}, **GIVEN
        )
        remarks = load_of(with_airspeed(models.model(stout, servos=STALL), 20.0)).remarks
        assert any("stout (slenderness 60" in remark for remark in remarks)

    def test_left_and_right_are_alike(self):
        model = models.aileron_pair(right=GIVEN)
        left = models.surface(**GIVEN)
        both = with_airspeed(
            msgspec.structs.replace(
                model, surfaces=[models.model(left).surfaces[0], model.surfaces[1]]
            ),
            20.0,
        )
        one, other = load_of(both, "left aileron"), load_of(both, "right aileron")
        for name in ("linear", "upper"):
            a, b = getattr(one, name), getattr(other, name)
            assert a.torque_nm == pytest.approx(b.torque_nm, rel=1e-12)
            assert (a.push_n, a.pull_n) == pytest.approx((b.push_n, b.pull_n), rel=1e-12)
            assert a.at_surface_deg == pytest.approx(b.at_surface_deg)
            assert a.at_shaft_deg == pytest.approx(-b.at_shaft_deg)
            assert a.buckling.margin == pytest.approx(b.buckling.margin)

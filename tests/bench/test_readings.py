"""What all readings of a gauge share, and through which linkage they were converted."""

import math

import pytest

from hingeline.bench.asking import Answer, Gauge
from hingeline.bench.readings import READING_U_DEG, reading_u_deg, zero_u
from hingeline.chord import deg_per_mm
from hingeline.linkage.closure import ratio, shaft_angle
from hingeline.travel.indirect import mark_of
from hingeline.travel.level import zero_of
from hingeline.travel.reading import resolution_u
from tests.support.entries import bench_with

HALF_A_MARK = 0.25 / math.sqrt(3.0)  # of a gauge read to 0.5, as a rectangle either way


def reading(gauge, value):
    bench = bench_with(gauge)
    return bench.make(1600, "rising", Answer("", value, gauge.unit, "")), bench.setting


def gain_at(setting, surface_deg):
    shaft = shaft_angle(setting.linkage, math.radians(surface_deg))
    return abs(float(ratio(setting.linkage, shaft)))


@pytest.mark.parametrize("kind", ["arm", "deg", "drop", "straight"])
def test_a_zero_set_by_hand_is_set_to_half_a_mark(kind):
    assert zero_u(Gauge(kind, 0.5)) == pytest.approx(HALF_A_MARK)


def test_at_the_arm_every_reading_shares_it():
    for value in (-20.0, 0.0, 20.0):
        assert reading(Gauge("arm", 0.5), value)[0].u_common_deg == pytest.approx(HALF_A_MARK)
    assert reading(Gauge("arm", 0.5), 0.0)[0].through == ""


def test_at_the_surface_it_comes_through_the_linkage():
    seen, setting = reading(Gauge("deg", 0.5), 8.0)
    assert seen.u_common_deg == pytest.approx(HALF_A_MARK / gain_at(setting, 8.0))
    assert seen.through == mark_of(setting.linkage)


@pytest.mark.parametrize("kind", ["drop", "straight"])
def test_of_a_ruler_it_comes_through_the_chord_too(kind):
    chord_mm = bench_with(Gauge(kind, 0.5)).setting.surface.chord_mm
    half = math.radians(8.0) / 2.0
    throw = chord_mm * (math.sin(2.0 * half) if kind == "drop" else 2.0 * math.sin(half))
    seen, setting = reading(Gauge(kind, 0.5), throw)
    by_mm = deg_per_mm(8.0, chord_mm, kind)
    assert seen.u_common_deg == pytest.approx(HALF_A_MARK * by_mm / gain_at(setting, 8.0))
    assert seen.through == mark_of(setting.linkage)


def test_a_level_shares_the_doubt_of_its_own_zero():
    zero = zero_of(3.0, 1, 0.1)
    assert zero_u(Gauge("level", 0.1, zero)) == zero.u_deg > resolution_u(0.1)


def test_a_ruler_shows_an_angle_the_better_the_deeper_the_surface():
    shape = reading(Gauge("deg", 0.5), 0.0)[1].surface
    mark = 0.5 / math.sqrt(12.0)
    assert reading_u_deg(Gauge("deg", 0.5), shape) == pytest.approx(math.hypot(0.3, mark))
    by_ruler = reading_u_deg(Gauge("drop", 0.5), shape)
    in_deg = math.degrees(math.asin(mark / shape.chord_mm))
    assert by_ruler == pytest.approx(math.hypot(READING_U_DEG, in_deg), rel=1e-4)

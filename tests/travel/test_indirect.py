"""Readings with doubts of other kinds: the pulse's own, and those that all readings share."""

from dataclasses import replace

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Crank, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.stacks import solve_stack
from hingeline.travel.fit import fit
from hingeline.travel.indirect import mark_of, moved_by_linkage
from hingeline.travel.reading import Reading, shaft_reading, surface_reading
from tests.linkage.shapes import level_linkage

PULSES = range(1000, 2001, 100)
LINKAGE = level_linkage(12.0, 15.0, 120.0, lean_deg=10.0)


def readings(noise_deg=0.0, seed=0, kind="shaft"):
    rng = np.random.default_rng(seed)
    return [
        Reading(
            pulse,
            approach,
            0.09 * (pulse - 1500) + lag + noise_deg * rng.normal(),
            0.1,
            kind=kind,
        )
        for approach, lag in (("rising", -0.5), ("falling", 0.5))
        for pulse in PULSES
    ]


def test_a_zero_that_all_share_moves_the_centre_and_nothing_else():
    alone = fit(readings(0.2))
    shared = fit([replace(reading, u_common_deg=0.4) for reading in readings(0.2)])
    assert shared.angle_deg(1700) == alone.angle_deg(1700)
    assert shared.centre_error_deg_u == pytest.approx(np.hypot(alone.centre_error_deg_u, 0.4))
    assert shared.angle_u_deg(1900) == pytest.approx(np.hypot(alone.angle_u_deg(1900), 0.4))
    for name in ("rate_deg_per_us_u", "hysteresis_deg_u", "linearity_deg_u"):
        assert getattr(shared, name) == pytest.approx(getattr(alone, name), rel=1e-9)


def test_a_scale_that_all_share_moves_the_rate():
    seen = readings(0.2)
    scale = [0.02 * reading.angle_deg for reading in seen]
    alone, shared = fit(seen), fit(seen, together_deg=[scale])
    by_scale = 0.02 * alone.rate_deg_per_us
    assert shared.rate_deg_per_us_u == pytest.approx(
        np.hypot(alone.rate_deg_per_us_u, by_scale), rel=0.02
    )
    # A gap that is read 2 % too large is 2 % too large.
    assert shared.hysteresis_deg_u**2 - alone.hysteresis_deg_u**2 == pytest.approx(
        (0.02 * alone.hysteresis_deg) ** 2, rel=0.02
    )


def test_what_moves_readings_together_is_kept_apart():
    seen = readings(0.2)
    scale = [0.02 * reading.angle_deg for reading in seen]
    zeroed = [replace(reading, u_common_deg=0.4) for reading in seen]
    alone, shared = fit(zeroed), fit(zeroed, together_deg=[scale])
    assert alone.together == alone.together_figures == ()
    (row,) = shared.together  # the gauge's zero is another one each time
    assert np.subtract(shared.covariance, alone.covariance) == pytest.approx(
        np.outer(row, row), abs=1e-9
    )
    figures = dict(shared.together_figures)
    for name in ("centre_us", "centre_error_deg", "rate_deg_per_us", "hysteresis_deg"):
        (moved,) = figures[name]
        u, without = getattr(shared, f"{name}_u"), getattr(alone, f"{name}_u")
        assert u == pytest.approx(np.hypot(without, moved), rel=1e-9), name
    assert figures["rate_deg_per_us"][0] == pytest.approx(0.02 * shared.rate_deg_per_us, rel=0.02)
    assert figures["dead_band_us"][0] == pytest.approx(0.0, abs=1e-9)  # a ratio of angles
    moved = shared.together_deg([1300.0, 1900.0])
    assert moved.shape == (2, 1)
    assert moved[:, 0] == pytest.approx(0.02 * shared.angle_deg([1300.0, 1900.0]), abs=1e-9)


def test_the_mark_of_a_linkage_tells_its_dimensions():
    assert mark_of(LINKAGE) == mark_of(level_linkage(12.0, 15.0, 120.0, lean_deg=10.0))
    others = [
        level_linkage(12.1, 15.0, 120.0, lean_deg=10.0),
        level_linkage(12.0, 15.0, 120.0, lean_deg=9.0),
        level_linkage(12.0, 15.0, 120.0, lean_deg=10.0, rod_mm=120.5),
    ]
    assert len({mark_of(LINKAGE), *map(mark_of, others)}) == 4


def test_a_shared_doubt_stays_with_its_reading_when_the_order_changes():
    seen = readings(0.2)
    shift = [0.3 * (reading.approach == "rising") for reading in seen]
    turned = fit(seen[::-1], together_deg=[shift[::-1]])
    assert turned.covariance == fit(seen, together_deg=[shift]).covariance


def test_a_shared_doubt_reaches_a_curve_through_points_and_its_stops():
    angles = (-45.0, -44.0, -30.0, 0.0, 30.0, 44.0, 45.0)
    soft = [
        shaft_reading(pulse, approach, angle + lag)
        for pulse, angle in zip(range(900, 2101, 200), angles, strict=True)
        for approach, lag in (("rising", -0.5), ("falling", 0.5))
    ]
    alone, shared = fit(soft), fit([replace(reading, u_common_deg=0.4) for reading in soft])
    assert alone.kind == "points"
    assert shared.angle_u_deg(1300) == pytest.approx(np.hypot(alone.angle_u_deg(1300), 0.4))
    held = [replace(r, angle_deg=max(-30.0, min(30.0, r.angle_deg))) for r in readings()]
    stops = fit([replace(reading, u_common_deg=0.4) for reading in held]).stops
    assert all(stop.u_deg > 0.4 for stop in stops)


def test_an_uncertain_pulse_counts_through_the_rate():
    sure, unsure = fit(readings()), fit(readings(), u_pulse_us=5.0)
    # Exact readings: what is left is what gauge and pulse are known to.
    assert sure.residual_sd_deg == pytest.approx(0.1)
    assert unsure.residual_sd_deg == pytest.approx(np.hypot(0.1, 0.09 * 5.0), rel=1e-6)
    assert unsure.readings[0].u_deg == 0.1  # kept as given


@pytest.mark.parametrize("u", [-1.0, np.nan, np.inf])
def test_a_pulse_uncertainty_that_is_none(u):
    with pytest.raises(TravelError, match="of a pulse is not 0 or more"):
        fit(readings(), u_pulse_us=u)


@pytest.mark.parametrize("row", [[0.1], [np.nan] * 22])
def test_shared_doubts_that_do_not_fit_the_readings(row):
    with pytest.raises(TravelError, match="for 22 readings"):
        fit(readings(), together_deg=[row])


def test_what_a_linkage_moves_is_what_another_linkage_would_have_said():
    # The servo stands half a millimetre higher than was put in: read it through both.
    nothing = dict.fromkeys(FACTORS, 0.0)
    seen = readings(kind="surface")
    (row,) = moved_by_linkage(seen, LINKAGE, Errors(**nothing | {"horn_hole_mm": 0.01}))
    horn = LINKAGE.horn
    longer = Linkage(
        LINKAGE.arm, Crank(horn.pivot_mm, horn.axis, horn.tip_mm + np.array([0, 0, 0.01]))
    )
    for reading, moved in zip(seen, row, strict=True):
        surface = surface_angle(LINKAGE, np.radians(reading.angle_deg))
        other = np.degrees(shaft_angle(longer, surface)) - reading.angle_deg
        assert moved == pytest.approx(other, abs=2e-4)


def test_readings_at_the_arm_are_not_moved_by_a_linkage():
    assert moved_by_linkage(readings(), LINKAGE) == ()
    mixed = [*readings()[:11], *readings(kind="surface")[11:]]
    rows = moved_by_linkage(mixed, LINKAGE)
    assert len(rows) == len(FACTORS)
    assert all(row[:11] == (0.0,) * 11 for row in rows)
    assert all(max(map(abs, row[11:])) > 0 for row in rows)


def test_servos_read_through_linkages_that_are_not_quite_as_drawn():
    # The truth of each linkage is drawn from the stated errors; the reader knows the drawing.
    errors, shaft_of = Errors(), lambda surface: float(shaft_angle(LINKAGE, surface))
    rng = np.random.default_rng(12)
    pulses = np.arange(1100.0, 1901.0, 100.0)
    truth = np.radians(0.09 * (pulses - 1500.0))
    hits, without = [], []
    off = rng.normal(size=(6, 150)) * np.reshape(errors.sizes(), (6, 1))
    for matrix in built(LINKAGE, off, fitted=True):
        surface = np.degrees(solve_stack(matrix[None], truth)[:, 0])
        seen = [
            surface_reading(
                pulse,
                approach,
                angle + rng.normal(0.0, 0.2),
                0.2,
                shaft_of_surface=shaft_of,
                ratio=lambda shaft: float(ratio(LINKAGE, shaft)),
            )
            for approach in ("rising", "falling")
            for pulse, angle in zip(pulses, surface, strict=True)
        ]
        for kept, together in ((hits, moved_by_linkage(seen, LINKAGE)), (without, ())):
            low, high = fit(seen, together_deg=together).interval_deg(pulses)
            kept.append((low <= np.degrees(truth)) & (np.degrees(truth) <= high))
    assert 0.92 <= np.mean(hits) <= 0.99
    assert np.mean(without) < 0.92  # else this would tell nothing

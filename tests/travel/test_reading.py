import math
from functools import partial

import pytest

from hingeline.errors import TravelError, UnitError
from hingeline.linkage.closure import Crank, Linkage, ratio, shaft_angle, surface_angle
from hingeline.travel.reading import (
    Reading,
    chord_reading,
    resolution_u,
    shaft_reading,
    surface_reading,
)

# Arm 10 mm, horn 20 mm, both square to a rod of 100 mm.
LINKAGE = Linkage(
    Crank([-100.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-100.0, 0.0, 10.0]),
    Crank([0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 20.0]),
)
THROUGH = {"shaft_of_surface": partial(shaft_angle, LINKAGE), "ratio": partial(ratio, LINKAGE)}


class TestReading:
    def test_keeps_what_was_typed(self):
        reading = shaft_reading(1600, "rising", 12.5, as_typed="12,5")
        assert reading.as_typed == "12,5"
        assert reading.angle_deg == 12.5

    def test_uncertainty_of_the_gauge_is_rectangular(self):
        """JCGM 100:2008, clause 4.3.7: half-width a gives a / sqrt(3)."""
        assert resolution_u(0.5) == pytest.approx(0.25 / math.sqrt(3.0))
        assert shaft_reading(1500, "rising", 0.0, resolution_deg=1.0).u_deg == resolution_u(1.0)

    @pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
    def test_not_a_number_is_refused_everywhere(self, bad):
        for wrong in (
            lambda: Reading(bad, "rising", 0.0, 0.1),
            lambda: Reading(1500, "rising", bad, 0.1),
            lambda: Reading(1500, "rising", 0.0, bad),
            lambda: resolution_u(bad),
        ):
            with pytest.raises(TravelError):
                wrong()

    def test_messages_name_the_value(self):
        with pytest.raises(TravelError, match="1600 us is nan"):
            shaft_reading(1600, "rising", math.nan)
        with pytest.raises(TravelError, match="pulse of -1 us"):
            shaft_reading(-1, "rising", 0.0)
        with pytest.raises(TravelError, match='"up" at 1500 us'):
            shaft_reading(1500, "up", 0.0)
        with pytest.raises(TravelError, match="uncertainty of 0"):
            Reading(1500, "rising", 0.0, 0)
        with pytest.raises(TravelError, match="resolution of 0"):
            shaft_reading(1500, "rising", 0.0, resolution_deg=0)


class TestSurfaceReading:
    def test_is_the_shaft_angle_that_gives_this_deflection(self):
        reading = surface_reading(1700, "rising", 8.0, 0.1, **THROUGH, as_typed="8")
        back = math.degrees(surface_angle(LINKAGE, math.radians(reading.angle_deg)))
        assert back == pytest.approx(8.0, abs=1e-9)
        assert reading.kind == "surface"

    def test_uncertainty_goes_through_the_linkage(self):
        reading = surface_reading(1700, "rising", 8.0, 0.1, **THROUGH)
        step = 1e-4
        near = surface_reading(1700, "rising", 8.0 + step, 0.1, **THROUGH)
        shaft_per_surface = (near.angle_deg - reading.angle_deg) / step
        assert reading.u_deg == pytest.approx(0.1 * shaft_per_surface, rel=1e-4)
        assert shaft_per_surface == pytest.approx(2.0, rel=0.1)  # 20 mm horn on a 10 mm arm

    def test_beyond_the_linkage(self):
        with pytest.raises(TravelError, match="80 deg at 1700 us is beyond what the linkage"):
            surface_reading(1700, "rising", 80.0, 0.1, **THROUGH)

    def test_near_a_dead_point(self):
        # Arm and rod are in line a little beyond 80 deg of shaft.
        farthest = math.degrees(surface_angle(LINKAGE, math.radians(80.0)))
        with pytest.raises(TravelError, match=r"only 0\.0\d deg per deg of shaft.*dead point"):
            surface_reading(1700, "rising", farthest, 0.1, **THROUGH)


class TestChordReading:
    @pytest.mark.parametrize(
        ("measure", "mm"),
        [
            ("drop", 50.0 * math.sin(math.radians(12.0))),
            ("straight", 100.0 * math.sin(math.radians(6.0))),
        ],
    )
    def test_millimetres_and_degrees_agree(self, measure, mm):
        read = partial(chord_reading, 1700, "falling", chord_mm=50.0, measure=measure, **THROUGH)
        reading = read(throw_mm=mm, resolution_mm=0.5)
        same = surface_reading(1700, "falling", 12.0, 0.1, **THROUGH)
        assert reading.angle_deg == pytest.approx(same.angle_deg, abs=1e-9)
        step = 1e-5
        shaft_per_mm = (
            read(throw_mm=mm + step, resolution_mm=0.5).angle_deg - reading.angle_deg
        ) / step
        assert reading.u_deg == pytest.approx(0.5 / math.sqrt(12.0) * shaft_per_mm, rel=1e-4)

    def test_more_than_the_chord_can_show(self):
        with pytest.raises(UnitError, match="51 mm drop is more than a chord of 50 mm"):
            chord_reading(
                1700,
                "rising",
                51.0,
                chord_mm=50.0,
                measure="drop",
                resolution_mm=0.5,
                **THROUGH,
            )

    def test_where_the_ruler_is_blind(self):
        with pytest.raises(TravelError, match="no longer tells the angle"):
            chord_reading(
                1700,
                "rising",
                50.0,
                chord_mm=50.0,
                measure="drop",
                resolution_mm=0.5,
                **THROUGH,
            )

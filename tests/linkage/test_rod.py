"""Rods: length, neutral per mm, bend marks, turns of a fitting, stock."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Crank, Linkage, surface_angle
from hingeline.linkage.mounting import mounted
from hingeline.linkage.rod import BendRule, RodFigures, neutral_deg_per_mm, rod_figures, stock
from hingeline.model.schema import Rod
from tests.linkage.shapes import HINGE, level_linkage, spatial_linkages
from tests.support import models

Z, L, ADJUSTABLE = "z-bend", "l-bend", "adjustable"


def made(**rod: object) -> tuple[Rod, RodFigures]:
    surface, servo = models.one(rod=rod)
    return surface.rod, rod_figures(surface.rod, mounted(surface, servo))


class TestNeutral:
    def test_square_cranks_by_hand(self):
        # 1 mm on a horn of 15 mm is 1/15 rad, to the pushed side.
        assert neutral_deg_per_mm(level_linkage(12.0, 15.0, 120.0)) == pytest.approx(
            math.degrees(1.0 / 15.0)
        )

    @given(spatial_linkages(fitted=False))
    def test_against_a_rod_a_little_longer(self, linkage: Linkage):
        length, step = linkage.length_mm, 1e-4
        longer, shorter = (
            surface_angle(Linkage(linkage.arm, linkage.horn, length + way * step), 0.0)
            for way in (1.0, -1.0)
        )
        assume(np.isfinite([longer, shorter]).all() and abs(longer - shorter) < 1e-3)
        by_difference = math.degrees((longer - shorter) / (2.0 * step))
        assert neutral_deg_per_mm(linkage) == pytest.approx(by_difference, rel=1e-4)

    def test_a_rod_that_does_not_reach_is_refused(self):
        with pytest.raises(LinkageError, match="does not reach"):
            neutral_deg_per_mm(level_linkage(12.0, 15.0, 120.0, rod_mm=95.0))


def test_a_rod_aslant_by_half_an_inch_in_a_foot_hardly_matters():
    # Parallel axes, the horn's hole half an inch to the side of the arm's over 12 in: the rod
    # is 0.09 % longer (1 / cos atan(0.5 / 12), by hand) and, made to fit, the throws are the same.
    arm = Crank((-304.8, 0.0, 0.0), HINGE, (-304.8, 0.0, 12.0))
    straight = Linkage(arm, Crank((0, 0, 0), HINGE, (0, 0, 12.0)))
    aslant = Linkage(arm, Crank((0, 12.7, 0), HINGE, (0, 12.7, 12.0)))
    assert aslant.length_mm / straight.length_mm - 1.0 == pytest.approx(0.000868, abs=5e-7)
    shaft = np.linspace(-0.8, 0.8, 9)
    assert surface_angle(aslant, shaft) == pytest.approx(surface_angle(straight, shaft), abs=1e-12)


class TestBends:
    def test_z_bends_at_both_ends_by_hand(self):
        # Wire 1.2, inside radius 1.8, so the middle of the wire runs on 2.4 and a bend takes
        # 3.770 mm. From the arm: tail 4, bend, 2 through the hole, bend, the straight (2.4
        # short of the hole's centre at each end), and the same at the horn.
        rod, figures = made(ends={"arm": Z, "horn": Z})
        length, arc = figures.length_mm, 3.76991
        straight = length - 4.8
        assert figures.cut_mm == pytest.approx(2 * 4 + 4 * arc + 2 * 2 + straight, abs=1e-4)
        marks = [(bend.end, bend.from_mm, bend.to_mm) for bend in figures.bends]
        at_arm = [("arm", 4.0, 4.0 + arc), ("arm", 6.0 + arc, 6.0 + 2 * arc)]
        start = 6.0 + 2 * arc + straight
        at_horn = [
            ("horn", start, start + arc),
            ("horn", start + arc + 2.0, start + 2 * arc + 2.0),
        ]
        for found, wanted in zip(marks, at_arm + at_horn, strict=True):
            assert found[0] == wanted[0]
            assert found[1:] == pytest.approx(wanted[1:], abs=1e-4)
        assert figures.inside_radius_mm == pytest.approx(1.8)
        assert figures.turn_mm is figures.turn_deg is None
        assert "1.5 diameters" in figures.assumed[0]
        assert figures.missing == ()
        assert rod.material == "steel"

    @given(
        st.sampled_from([Z, L]),
        st.sampled_from([Z, L]),
        st.floats(0.8, 2.0),
        st.floats(0.5, 4.0),
        st.floats(0.0, 5.0),
    )
    def test_bent_as_marked_the_wire_fits_the_holes(
        self, arm: str, horn: str, diameter: float, radii: float, through: float
    ):
        # The straight wire is bent in small steps at its marks; where it goes straight
        # through, square to the rod, the two holes are. No formula of bends goes in.
        rule = BendRule(inside_diameters=radii, through_mm=through)
        surface, servo = models.one(
            rod={"diameter": f"{diameter:.9f} mm", "ends": {"arm": arm, "horn": horn}}
        )
        figures = rod_figures(surface.rod, mounted(surface, servo), rule)
        step = 0.001
        at = (np.arange(round(figures.cut_mm / step)) + 0.5) * step
        radius = figures.inside_radius_mm + surface.rod.diameter_mm / 2.0
        heading, x, through_x = np.zeros_like(at), 0.0, {}
        # Each end is bent one way and, with a z-bend, back again.
        for end in ("arm", "horn"):
            turn = 1.0
            for bend in (b for b in figures.bends if b.end == end):
                inside = (at > bend.from_mm) & (at < bend.to_mm)
                heading += np.cumsum(inside) * turn * step / radius
                turn = -turn
        middle = figures.cut_mm / 2.0
        heading -= heading[np.searchsorted(at, middle)]  # the rod itself lies along x
        x = np.cumsum(np.cos(heading)) * step
        for end in ("arm", "horn"):
            bends = [b for b in figures.bends if b.end == end]
            # The bend next to the rod ends where the wire stands square to it.
            place = bends[-1].from_mm if end == "arm" else bends[0].to_mm
            through_x[end] = x[min(int(place / step), len(x) - 1)]
        assert through_x["horn"] - through_x["arm"] == pytest.approx(figures.length_mm, abs=0.02)

    def test_one_bend_and_one_fitting(self):
        _, figures = made(
            ends={"arm": L, "horn": ADJUSTABLE}, fitting="16 mm", thread_pitch="0.4 mm"
        )
        arc = math.pi * 2.4 / 2.0
        assert figures.cut_mm == pytest.approx(6.0 + arc + figures.length_mm - 2.4 - 16.0)
        assert [bend.end for bend in figures.bends] == ["arm"]
        assert figures.bends[0].from_mm == 6.0
        assert figures.turn_mm == 0.4
        assert figures.turn_deg == pytest.approx(0.4 * abs(figures.neutral_deg_per_mm))

    def test_two_fittings_need_no_bend_and_any_material(self):
        _, figures = made(
            diameter="4 mm",
            inner_diameter="3 mm",
            material="carbon",
            ends={"arm": ADJUSTABLE, "horn": ADJUSTABLE},
            fitting="16 mm",
        )
        assert figures.cut_mm == pytest.approx(figures.length_mm - 32.0)
        assert figures.bends == figures.assumed == ()
        assert figures.inside_radius_mm is None
        assert figures.turn_mm is None
        assert figures.missing == (
            "No figures for a turn of the fitting: rod.thread_pitch is not given.",
        )

    @pytest.mark.parametrize(
        ("rod", "reason"),
        [
            ({}, "held at arm and horn"),
            ({"ends": {"arm": Z}}, "held at horn."),
            ({"ends": {"arm": Z, "horn": ADJUSTABLE}, "thread_pitch": "0.4 mm"}, "rod.fitting"),
            ({"ends": {"arm": Z, "horn": Z}, "material": "carbon"}, "a carbon rod is not bent"),
            ({"ends": {"arm": Z, "horn": Z}, "inner_diameter": "0.8 mm"}, "a steel tube is not"),
            (
                {"ends": {"arm": ADJUSTABLE, "horn": ADJUSTABLE}, "fitting": "50 mm"},
                "take 100.0 mm, more than the 72.2 mm",
            ),
        ],
    )
    def test_no_length_to_cut_is_explained(self, rod: dict[str, object], reason: str):
        _, figures = made(**rod)
        assert figures.cut_mm is figures.inside_radius_mm is None
        assert figures.bends == ()
        assert any(reason in said for said in figures.missing)
        assert figures.length_mm == pytest.approx(72.25, abs=0.01)


def test_stock_sums_by_material_and_size():
    bent = made(ends={"arm": Z, "horn": Z})
    longer = made(ends={"arm": L, "horn": L})
    unknown = made()
    tube = made(diameter="4 mm", inner_diameter="3 mm", material="carbon")
    found = stock([unknown, tube, bent, longer])
    assert [(s.material, s.diameter_mm, s.inner_mm) for s in found] == [
        ("steel", 1.2, None),
        ("carbon", 4.0, 3.0),
    ]
    steel, carbon = found
    pieces = [bent[1].cut_mm, longer[1].cut_mm, unknown[1].length_mm]
    assert list(steel.pieces_mm) == sorted(pieces, reverse=True)
    assert steel.total_mm == pytest.approx(sum(pieces))
    assert (steel.all_known, carbon.all_known) == (False, False)
    assert stock([bent, longer])[0].all_known
    assert stock([]) == ()

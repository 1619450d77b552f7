"""Planted building errors are found, sized and named from measured pairs."""

import math

import msgspec
import numpy as np
import pytest

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Linkage, surface_angle
from hingeline.linkage.estimate import PRIORS, diagnose
from hingeline.linkage.mounting import mounted
from hingeline.model.reading import parse_model
from hingeline.model.schema import Offset
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")
SHAFT = np.linspace(-45.0, 45.0, 7)


def measured(name, *, lean=0.0, set_back=0.0, rod=0.0, step=0.1):
    surface = MODEL.surface(name)
    servo = MODEL.servo_of(surface)
    horn = msgspec.structs.replace(
        surface.horn, set_back_mm=Offset(surface.horn.set_back_mm + set_back)
    )
    built = mounted(msgspec.structs.replace(surface, horn=horn), servo, off_lean_deg=lean)
    linkage = Linkage(built.arm, built.horn, built.length_mm + rod)
    seen = np.degrees(surface_angle(linkage, np.radians(SHAFT)))
    return surface, servo, np.round(seen / step) * step


NAMES = [surface.name for surface in MODEL.surfaces]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("cause", "size"),
    [
        ("lean", 14.4),
        ("lean", -14.4),
        ("lean", 28.8),
        ("set-back", 3.0),
        ("set-back", -3.0),
        ("rod", 1.0),
        ("rod", -1.0),
    ],
)
def test_a_planted_error_is_the_first_cause(name, cause, size):
    surface, servo, seen = measured(name, **{cause.replace("-", "_"): size})
    found = diagnose(surface, servo, SHAFT, seen, u_deg=0.1)
    first = found.causes[0]
    assert first.name == cause
    assert first.matters
    assert abs(first.size - size) <= max(3.0 * first.u, 0.15 * abs(size))
    assert found.explained
    assert found.before_deg > 4.0 * found.after_deg


def test_two_teeth_off_are_called_that():
    surface, servo, seen = measured("rudder", lean=28.8)
    text = diagnose(surface, servo, SHAFT, seen, u_deg=0.1).causes[0].text
    assert "2 teeth" in text
    assert "centred when it was fitted" in text
    assert "AWAY" not in text
    assert "Refit it 2 teeth towards the hinge line" in text


def test_less_than_half_a_tooth_is_trimmed():
    surface, servo, seen = measured("rudder", lean=4.0)
    lean = next(
        c for c in diagnose(surface, servo, SHAFT, seen, u_deg=0.1).causes if c.name == "lean"
    )
    assert "trim the servo's centre" in lean.text


def test_a_sound_build_has_no_cause_that_matters():
    for name in NAMES:
        surface, servo, seen = measured(name)
        found = diagnose(surface, servo, SHAFT, seen, u_deg=0.1)
        assert not any(cause.matters for cause in found.causes)
        assert found.explained


def test_with_two_points_the_uncertainty_says_that_causes_cannot_be_told_apart():
    surface, servo, seen = measured("elevator", lean=14.4)
    few = diagnose(surface, servo, SHAFT[[0, -1]], seen[[0, -1]], u_deg=0.1)
    many = diagnose(surface, servo, SHAFT, seen, u_deg=0.1)
    for name in ("lean", "set-back", "rod"):
        u_few = next(cause.u for cause in few.causes if cause.name == name)
        u_many = next(cause.u for cause in many.causes if cause.name == name)
        assert u_few > u_many
    # Without a word from the readings the prior stands.
    assert (
        max(
            cause.u / prior
            for cause, prior in zip(
                sorted(few.causes, key=lambda c: ("lean", "set-back", "rod").index(c.name)),
                PRIORS,
                strict=True,
            )
        )
        > 0.3
    )


def test_what_no_linkage_explains_is_not_called_explained():
    surface, servo, seen = measured("rudder")
    seen[3] += 8.0
    assert not diagnose(surface, servo, SHAFT, seen, u_deg=0.1).explained


@pytest.mark.parametrize(
    ("shaft", "seen", "u"),
    [([1.0], [1.0], 0.1), ([1.0, 2.0], [1.0], 0.1), ([1.0, math.nan], [1.0, 2.0], 0.1)],
)
def test_too_few_or_broken_pairs_are_refused(shaft, seen, u):
    surface, servo, _ = measured("rudder")
    with pytest.raises(LinkageError, match="pairs"):
        diagnose(surface, servo, shaft, seen, u_deg=u)


def test_an_uncertainty_must_be_above_zero():
    surface, servo, seen = measured("rudder")
    with pytest.raises(LinkageError, match="above zero"):
        diagnose(surface, servo, SHAFT, seen, u_deg=0.0)

"""What a step is said to fail of when a servo or its linkage cannot do what it needs."""

from types import SimpleNamespace

import pytest

from hingeline.bench.rigging.conductor import DOES, cannot
from hingeline.errors import TravelError
from hingeline.rigging.steps import STEPS, Item, step_named
from hingeline.travel.nominal import NominalCurve
from hingeline.travel.setting import Setting
from tests.rigging.planted import MODEL, planned

NEUTRAL = Item(step_named("neutral"), "rudder")
ERROR = TravelError("servo R1 does not reach neutral within its limits.")


def rig(setting, free=None):
    return SimpleNamespace(
        built=lambda _name: SimpleNamespace(free_deg=free or {}),
        planned=MODEL.surface,
        setting=lambda _name: setting,
    )


def weak(setting, by_us):
    curve = NominalCurve(1500.0, setting.curve.rate_deg_per_us, (1500.0 - by_us, 1500.0 + by_us))
    return Setting(setting.surface, setting.servo, setting.linkage, curve)


def test_every_step_is_done_by_something():
    assert set(DOES) == {step.name for step in STEPS}


def test_what_is_no_lack_of_travel_is_not_called_so():
    named = cannot(rig(planned("rudder")), NEUTRAL, ERROR)
    assert named.cause == "unknown"
    assert named.text == str(ERROR)
    assert [mend.name for mend in named.mends] == ["refit", "servo"]
    assert all("further" not in mend.text for mend in named.mends)


def test_a_lack_of_travel_is_called_so_with_its_mends():
    named = cannot(rig(weak(planned("rudder"), 250.0)), NEUTRAL, ERROR)
    assert named.cause == "short travel"
    assert ERROR.message in named.text
    assert "more travel" in named.mends[0].text


def test_a_bare_surface_that_stops_early_is_named():
    named = cannot(rig(planned("rudder"), {"left": 9.0, "right": 30.0}), NEUTRAL, ERROR)
    assert named.cause == "bare stops early"
    assert [mend.name for mend in named.mends] == ["hinge"]


@pytest.mark.parametrize("name", ["leads", "class", "screws", "signoff"])
def test_a_step_of_the_whole_model_offers_nothing_at_one_surface(name):
    assert cannot(rig(None), Item(step_named(name), ""), ERROR).mends == ()

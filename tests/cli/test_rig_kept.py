"""What a guided run keeps for the radio and for later checks is what was read, and how."""

import math
import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from hingeline.bench.rigging.throwing import UNREAD_SEAT_DEG, _seat_u_deg
from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.faults import station_of
from hingeline.records.store import Records
from tests.support.rigging import MODEL, play


def kept(name):
    with Records(Path(os.environ["HINGELINE_RECORDS"])) as records:
        return records.latest_finding("rigged", name, simulated=True)["figures"]


def backwards(stations):
    station_of(stations, "left aileron").rebuild(Build(other_side=True))


def test_a_direction_left_wrong_is_kept_as_it_was_seen():
    played = play(
        "left aileron", build=backwards, script={("mend", "left aileron"): ["leave"] * 20}
    )
    figures = kept("left aileron")
    ends = figures["ends_us"]
    assert figures["rising_pulse"] == max(ends, key=ends.get)
    by_pulse = sorted(figures["points"], key=lambda one: one["pulse_us"])
    went = by_pulse[-1]["measured_deg"] - by_pulse[0]["measured_deg"]
    assert figures["rising_pulse"] == figures["words"][0 if went > 0 else 1]
    assert "its direction is wrong: a rising pulse moves it" in played.talk


def test_gauge_doubt_and_tolerance_are_those_of_the_sitting_that_read_the_points():
    first = play("rudder", "--gauge", "drop", "--tolerance", "2 deg", script={"slop": ["stop"]})
    assert "mm drop), within 2.0 deg" in first.talk
    play("rudder", "--tolerance", "1 deg")
    figures = kept("rudder")
    assert (figures["gauge"], figures["resolution"]) == ("drop", 0.5)
    assert figures["tolerance_deg"] == pytest.approx(2.0)
    mark = math.degrees(0.5 / math.sqrt(12.0) / MODEL.surface("rudder").chord_mm)
    assert figures["u_deg"] == pytest.approx(math.hypot(0.3, mark))


def test_the_doubt_of_a_surface_is_not_that_of_the_narrowest_one():
    play("--gauge", "drop")
    for surface in MODEL.surfaces:
        mark = math.degrees(0.5 / math.sqrt(12.0) / surface.chord_mm)
        assert kept(surface.name)["u_deg"] == pytest.approx(math.hypot(0.3, mark))
    assert len({surface.chord_mm for surface in MODEL.surfaces}) > 1


def test_an_arm_of_which_no_lean_was_kept_counts_as_unread():
    for row in (None, {"figures": {}}):
        rig = SimpleNamespace(found=lambda _step, _name, row=row: row)
        assert _seat_u_deg(rig, "rudder") == UNREAD_SEAT_DEG
    rig = SimpleNamespace(found=lambda _step, _name: {"figures": {"u_deg": 0.5}})
    assert _seat_u_deg(rig, "rudder") == 0.5

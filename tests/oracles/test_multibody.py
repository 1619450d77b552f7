"""The closed form against a multibody simulation that knows nothing of it (MuJoCo).

The simulated mechanism is a hinged crank, a rod on a ball joint at its tip, a hinged horn,
and a constraint that holds the rod's other end to the horn. The crank is driven in steps and
the horn is read after it has settled.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from hingeline.linkage.closure import Crank, Linkage, surface_angle
from hingeline.linkage.limits import shaft_limits

mujoco = pytest.importorskip("mujoco", reason="the multibody oracle needs mujoco")

SETTLE_STEPS = 2500


def described(linkage: Linkage) -> str:
    """Write the mechanism at rest, 1 unit = 100 mm, unit inertias, no gravity."""

    def at(point: np.ndarray) -> str:
        return " ".join(f"{value / 100.0:.17g}" for value in point)

    def along(axis: np.ndarray) -> str:
        return " ".join(f"{value:.17g}" for value in axis)

    arm, horn = linkage.arm, linkage.horn
    bulk = '<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>'
    return f"""
    <mujoco>
      <option timestep="0.001" gravity="0 0 0" integrator="implicitfast"/>
      <compiler angle="radian"/>
      <default>
        <equality solref="0.004 1" solimp="0.9999 0.9999 0.001"/>
        <joint damping="2"/>
      </default>
      <worldbody>
        <body name="arm" pos="{at(arm.centre_mm)}">
          <joint name="shaft" type="hinge" axis="{along(arm.axis)}"/>{bulk}
          <body name="rod" pos="{at(arm.tip_mm - arm.centre_mm)}">
            <joint type="ball"/>{bulk}
          </body>
        </body>
        <body name="horn" pos="{at(horn.centre_mm)}">
          <joint name="surface" type="hinge" axis="{along(horn.axis)}"/>{bulk}
        </body>
      </worldbody>
      <equality>
        <connect body1="rod" body2="horn" anchor="{at(horn.tip_mm - arm.tip_mm)}"/>
        <joint joint1="shaft" polycoef="0 0 0 0 0"/>
      </equality>
    </mujoco>"""


def simulated(linkage: Linkage, shaft_rad: np.ndarray) -> np.ndarray:
    """Drive the shaft from rest through the given angles; give shaft and surface as settled."""
    model = mujoco.MjModel.from_xml_string(described(linkage))
    data = mujoco.MjData(model)
    settled = []
    for angle in shaft_rad:
        start = float(data.joint("shaft").qpos[0])
        for step in range(SETTLE_STEPS):
            # Half the time to get there, half to come to rest.
            part = min(1.0, 2.0 * step / SETTLE_STEPS)
            model.eq_data[1, 0] = start + part * (angle - start)
            mujoco.mj_step(model, data)
        settled.append([data.joint("shaft").qpos[0], data.joint("surface").qpos[0]])
    return np.array(settled).T


def worst_rad(linkage: Linkage, shaft_deg: list[float]) -> float:
    asked = np.radians(shaft_deg)
    shaft, surface = simulated(linkage, asked)
    assert np.max(np.abs(shaft - asked)) < 1e-6
    return float(np.max(np.abs(surface_angle(linkage, shaft) - surface)))


def test_rudder_servo_lying_across_the_hinge():
    linkage = Linkage(
        Crank((-80, 4, -12), (0, 0, 1), (-80, 14, -12)),
        Crank((0, 0, 0), (0, 1, 0), (-2, 12, -12)),
    )
    assert worst_rad(linkage, [15, 30, 45]) < 1e-9
    assert worst_rad(linkage, [-15, -30, -45]) < 1e-9
    # Recorded from another program that was itself checked so: guards against change.
    recorded = [-34.1719, -23.8482, -12.2706, 0.0, 12.6715, 25.6891, 39.3328]
    found = np.degrees(surface_angle(linkage, np.radians([-45, -30, -15, 0, 15, 30, 45])))
    assert found == pytest.approx(recorded, abs=6e-5)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 51))
def test_servos_mounted_at_random(seed: int):
    rng = np.random.default_rng(seed)

    def crank(pivot: np.ndarray, axis: np.ndarray, out: np.ndarray, radius: float) -> Crank:
        across = np.cross(axis, out)
        return Crank(pivot, axis, pivot + radius * across / np.linalg.norm(across))

    # Any attitude of either axis that leaves the rod within 35 deg of square to both cranks.
    for _ in range(1000):
        pivot = np.array([-90.0, 0.0, 0.0]) + rng.normal(scale=15.0, size=3)
        arm = crank(pivot, *rng.normal(size=(2, 3)), rng.uniform(8.0, 14.0))
        horn = crank(np.zeros(3), *rng.normal(size=(2, 3)), rng.uniform(12.0, 20.0))
        linkage = Linkage(arm, horn)
        rod = (horn.tip_mm - arm.tip_mm) / linkage.length_mm
        pull = [np.cross(c.axis, c.tip_mm - c.centre_mm) / c.radius_mm for c in (arm, horn)]
        if min(abs(np.dot(rod, way)) for way in pull) > np.cos(np.radians(35.0)):
            break
    else:
        pytest.fail("no mounting found")
    # Well inside where it locks: near there the simulator's own loop becomes unstable.
    locks = shaft_limits(linkage)
    most = min(40.0, 0.6 * np.degrees(min(-locks.low_rad, locks.high_rad)))
    assert worst_rad(linkage, [0.5 * most, most]) < 1e-9
    assert worst_rad(linkage, [-0.5 * most, -most]) < 1e-9
    # And by brute force, which shares nothing with either: a bracketed search on the distance.
    for shaft in np.radians(np.array([-1.0, -0.5, 0.5, 1.0]) * most):
        tip, near = arm.tip_at(shaft), float(surface_angle(linkage, shaft))

        def off(surface: float, tip: np.ndarray = tip) -> float:
            return float(np.linalg.norm(horn.tip_at(surface) - tip)) - linkage.length_mm

        found = optimize.brentq(off, near - 0.2, near + 0.2, xtol=1e-13)
        assert found == pytest.approx(near, abs=1e-10)

"""What a model file holds, as typed records.

Keys of the file and attributes differ only by the unit in the attribute's name:
``chord = "45 mm"`` is read into ``chord_mm``. Values are in the internal units of
:mod:`hingeline.units`.
"""

# The value types below are classes of their own, not records or aliases, because only a
# type unknown to msgspec is handed to the decoder of ``hingeline.model.values``.

from __future__ import annotations

from typing import Literal

import msgspec


class Length(float):
    """A length greater than zero, in mm."""


class Offset(float):
    """A signed length, in mm."""


class Angle(float):
    """A signed angle, in deg."""


class Speed(float):
    """A speed greater than zero, in m/s."""


class Pulse(int):
    """A pulse width, in us."""


class Rate(float):
    """Degrees of servo arm per microsecond of pulse, greater than zero."""


class Torque(float):
    """A torque greater than zero, in N m."""


class FrameRate(int):
    """Frames per second, greater than zero."""


Measure = Literal["deg", "drop", "straight"]


class Throw(float):
    """A deflection greater than zero: degrees, or millimetres measured in a stated way.

    Attributes
    ----------
    measure : {"deg", "drop", "straight"}
        Degrees; mm square to the neutral plane; mm by a ruler held straight from
        the neutral to the deflected trailing edge.
    """

    measure: Measure

    def __new__(cls, value: float, measure: Measure) -> Throw:
        """Make a throw of ``value`` degrees or mm."""
        throw = super().__new__(cls, value)
        throw.measure = measure
        return throw


class Direction:
    """A direction in the surface's frame.

    Attributes
    ----------
    ahead, off, along : float
        Components, not necessarily of unit length: ahead of the hinge line, off
        the surface towards the horn side, outboard along the hinge line.
    """

    def __init__(self, ahead: float, off: float, along: float) -> None:
        self.ahead = ahead
        self.off = off
        self.along = along


PulseClass = Literal["standard", "narrow", "custom"]
Kind = Literal["elevator", "rudder", "aileron", "flap", "elevon", "ruddervator", "spoiler"]
Side = Literal["left", "right", "centre"]
HornSide = Literal["top", "bottom", "left", "right"]
Material = Literal["steel", "carbon", "glass", "aluminium", "plastic"]
RodEnd = Literal["z-bend", "l-bend", "adjustable"]


class Header(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The [model] table; the airspeed is the fastest at which full throw is used."""

    name: str
    airspeed_m_s: Speed | None = msgspec.field(name="airspeed", default=None)


class Servo(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One physical servo, keyed in the file by the label stuck on it.

    Only a digital servo may be given more frames per second than the usual 50.
    """

    spline_teeth: int
    pulse_class: PulseClass
    centre_us: Pulse = msgspec.field(name="centre")
    pulse_limits_us: tuple[Pulse, Pulse] = msgspec.field(name="pulse_limits")
    rate_deg_per_us: Rate = msgspec.field(name="rate")
    arm_count: int = 1
    turns: Literal["cw", "ccw"] | None = None
    stall_torque_nm: Torque | None = msgspec.field(name="stall_torque", default=None)
    gear_play_deg: Angle | None = msgspec.field(name="gear_play", default=None)
    digital: bool = False
    frame_rate_hz: FrameRate | None = msgspec.field(name="frame_rate", default=None)


class Mount(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Where the servo stands, relative to the hinge line in the plane of the horn hole."""

    ahead_mm: Offset = msgspec.field(name="ahead")
    off_mm: Offset = msgspec.field(name="off", default=Offset(0.0))
    along_mm: Offset = msgspec.field(name="along", default=Offset(0.0))
    spindle: Direction
    arm_points: Direction


class Arm(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The servo arm: holes counted from the spindle, lean in whole spline teeth.

    On a part with several arms, ``part_arm`` is the one that carries the rod, counted from
    1 the way a positive lean turns; 1 is the arm that is square on tooth 0.
    """

    holes_mm: list[Length] = msgspec.field(name="holes")
    hole: int | None = None
    teeth_lean: int = 0
    part_arm: int = 1


class Horn(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The control horn: holes counted from the hinge line."""

    side: HornSide
    holes_mm: list[Length] = msgspec.field(name="holes")
    hole: int | None = None
    set_back_mm: Offset = msgspec.field(name="set_back", default=Offset(0.0))


class RodEnds(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How the rod is held at each end: by a bend of its own wire, or a fitting on a thread."""

    arm: RodEnd | None = None
    horn: RodEnd | None = None


class Rod(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The pushrod; without a length it is made to fit with everything at neutral.

    ``bare`` is its longest stretch without support; without it the whole rod. ``fitting``
    is the distance from the hole to the rod's end inside an adjustable fitting that is
    screwed on half-way.
    """

    diameter_mm: Length = msgspec.field(name="diameter")
    material: Material
    play_mm: Offset = msgspec.field(name="play", default=Offset(0.0))
    length_mm: Length | None = msgspec.field(name="length", default=None)
    inner_diameter_mm: Length | None = msgspec.field(name="inner_diameter", default=None)
    bare_mm: Length | None = msgspec.field(name="bare", default=None)
    ends: RodEnds = RodEnds()
    fitting_mm: Length | None = msgspec.field(name="fitting", default=None)
    thread_pitch_mm: Length | None = msgspec.field(name="thread_pitch", default=None)


class Surface(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One hinged control surface and the linkage that drives it."""

    name: str
    kind: Kind
    servo: str
    channel: int
    throws: dict[str, Throw]
    free_travel: dict[str, Throw]
    chord_mm: Length = msgspec.field(name="chord")
    mount: Mount
    arm: Arm
    horn: Horn
    rod: Rod
    side: Side = "centre"
    span_mm: Length | None = msgspec.field(name="span", default=None)
    whole_chord_mm: Length | None = msgspec.field(name="whole_chord", default=None)


class Pair(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Two surfaces that must match: moving opposite ways or together."""

    left: str
    right: str
    moves: Literal["opposite", "together"]


class Model(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A whole model file."""

    header: Header = msgspec.field(name="model")
    servos: dict[str, Servo]
    surfaces: list[Surface]
    pairs: list[Pair] = []

    @property
    def name(self) -> str:
        """The model's name."""
        return self.header.name

    def surface(self, name: str) -> Surface:
        """Return the surface called ``name``; KeyError when there is none."""
        for surface in self.surfaces:
            if surface.name == name:
                return surface
        raise KeyError(name)

    def servo_of(self, surface: Surface) -> Servo:
        """Return the servo that drives ``surface``."""
        return self.servos[surface.servo]

"""What a well-typed model file can still get wrong: values against each other and the trade."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from hingeline.errors import UnitError
from hingeline.model import words
from hingeline.model.schema import Length, Model, Rod, Servo, Surface
from hingeline.model.throws import free_travel_deg, in_deg, throw_deg

# What follows up to CHANNELS the board's firmware refuses as well, from its own table
# (shared_protocol/PROTOCOL.md), and a test keeps the two equal.
# Absolute pulse limits per class, in us; "custom" leaves them to whoever states the limits.
CLASS_LIMITS_US = {"standard": (500, 2500), "narrow": (300, 1100), "custom": (300, 2500)}
FRAME_RATE_HZ = (50, 333)
FRAME_MARGIN_US = 800  # silence that a pulse leaves in its frame
CHANNELS = 8  # of one board
USUAL_FRAME_HZ = 50
MOST_CHANNELS = 4 * CHANNELS  # of a bench of several boards: our own choice
TEETH = (10, 60)  # splines in the trade run from 15 to 26 teeth; wider than that is a slip
STEEPEST_DEG = 89.0
# Wider than these is a slip of the unit or the decimal mark (common practice, no source).
MOST_GEAR_PLAY_DEG = 10.0
THREAD_PITCH_MM = (0.2, 1.0)
SPEED_OF_SOUND_M_S = 340.0  # at sea level, from memory; the load is for air far below it


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a model: where, what, why and the next step."""

    place: list[str | int]
    message: str
    mend: str
    cause: str = ""


def problems(model: Model) -> Iterator[Problem]:
    """Yield what is wrong in ``model``, in the order of the file."""
    if not model.name.strip():
        yield Problem(["model", "name"], "the name is empty.", "Give the model a name.")
    airspeed = model.header.airspeed_m_s
    if airspeed is not None and airspeed > SPEED_OF_SOUND_M_S:
        yield Problem(
            ["model", "airspeed"],
            f"{airspeed:.0f} m/s is more than {SPEED_OF_SOUND_M_S:.0f} m/s, the speed of sound.",
            "Check the value and its unit.",
        )
    for label, servo in model.servos.items():
        yield from _servo(["servos", label], servo)
    yield from _surfaces(model)
    yield from _pairs(model)


def _servo(place: list[str | int], servo: Servo) -> Iterator[Problem]:
    low, high = TEETH
    if not low <= servo.spline_teeth <= high:
        yield Problem(
            [*place, "spline_teeth"],
            f"{servo.spline_teeth} teeth is outside {low} to {high}.",
            "Count the teeth of the output shaft, or take the maker's figure.",
        )
    if servo.arm_count < 1 or servo.arm_count > 12:
        yield Problem(
            [*place, "arm_count"],
            f"{servo.arm_count} arms on one part is outside 1 to 12.",
            "Give the number of evenly spaced arms on the part that is fitted.",
        )
    if servo.gear_play_deg is not None and not 0.0 <= servo.gear_play_deg <= MOST_GEAR_PLAY_DEG:
        yield Problem(
            [*place, "gear_play"],
            f"{servo.gear_play_deg:g} deg is outside 0 to {MOST_GEAR_PLAY_DEG:g} deg.",
            "Give the whole free play at the arm, from stop to stop, or leave it out.",
        )
    yield from _pulses(place, servo)


def _pulses(place: list[str | int], servo: Servo) -> Iterator[Problem]:
    least, most = CLASS_LIMITS_US[servo.pulse_class]
    low, high = servo.pulse_limits_us
    for index, pulse in enumerate((low, high)):
        if not least <= pulse <= most:
            yield Problem(
                [*place, "pulse_limits", index],
                f"{pulse} us is outside {least} to {most} us, the limits of the class "
                f"{servo.pulse_class!r}.",
                "Stay inside the class, or correct pulse_class.",
                "A pulse outside its class can drive the servo into its stop and ruin it.",
            )
    if not low < servo.centre_us < high:
        yield Problem(
            [*place, "centre"],
            f"{servo.centre_us} us is not between the pulse limits {low} us and {high} us.",
            "Correct the centre or pulse_limits; the lower limit stands first.",
        )
    for found in frame_problems(servo.digital, servo.frame_rate_hz, high):
        yield Problem([*place, "frame_rate"], *found)


def frame_problems(
    digital: bool, frame_hz: int | None, high_us: int
) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with a servo's frame rate: message, mend, cause.

    Parameters
    ----------
    digital : bool
        Whether the servo is known to be digital.
    frame_hz : int or None
        Frames per second that are wanted; None: the usual ones.
    high_us : int
        Longest pulse that it may get.
    """
    if frame_hz is None:
        return
    least, most = FRAME_RATE_HZ
    if not digital:
        yield (
            f"{frame_hz} Hz is given for a servo that is not said to be digital.",
            "Say that it is digital if its maker does, or leave the frame rate out.",
            "More frames per second than the usual 50 heat servos that are not made for them.",
        )
    elif not least <= frame_hz <= most:
        yield (
            f"{frame_hz} Hz is outside {least} to {most} Hz.",
            "Give the rate that the servo's maker names, inside these limits.",
            "",
        )
    elif not fits_frame(high_us, frame_hz):
        yield (
            f"a frame at {frame_hz} Hz lasts {1e6 / frame_hz:.0f} us, too short for a pulse of "
            f"{high_us} us and {FRAME_MARGIN_US} us of silence.",
            "Lower the frame rate or the high pulse limit.",
            "A pulse as long as its frame is a signal that never falls.",
        )


def fits_frame(pulse_us: int, frame_hz: int) -> bool:
    """Tell whether a pulse and the silence after it fit in a frame."""
    return (pulse_us + FRAME_MARGIN_US) * frame_hz <= 1_000_000


def _surfaces(model: Model) -> Iterator[Problem]:
    if not model.surfaces:
        yield Problem(["surfaces"], "there is no surface.", "Add a [[surfaces]] table.")
    names: dict[str, int] = {}
    channels: dict[int, str] = {}
    plugged: dict[str, int] = {}
    for index, surface in enumerate(model.surfaces):
        place: list[str | int] = ["surfaces", index]
        if surface.name in names:
            yield Problem(
                [*place, "name"],
                f"{surface.name!r} is used twice.",
                "Give every surface a name of its own.",
            )
        names[surface.name] = index
        if surface.servo not in model.servos:
            yield Problem(
                [*place, "servo"],
                f"there is no servo {surface.servo!r}.",
                f"Known servos: {', '.join(model.servos) or 'none'}.",
            )
        elif not 1 <= surface.arm.part_arm <= model.servo_of(surface).arm_count:
            yield Problem(
                [*place, "arm", "part_arm"],
                f"arm {surface.arm.part_arm} is not one of the "
                f"{model.servo_of(surface).arm_count} arms of the part.",
                "Correct it, or arm_count of the servo.",
            )
        if not 1 <= surface.channel <= MOST_CHANNELS:
            yield Problem(
                [*place, "channel"],
                f"{surface.channel} is outside 1 to {MOST_CHANNELS}, the channels of the bench.",
                "Give the bench channel into which this servo is plugged; with several boards "
                f"of {CHANNELS}, channel {CHANNELS + 1} is the second board's channel 1.",
            )
        elif channels.setdefault(surface.channel, surface.servo) != surface.servo:
            yield Problem(
                [*place, "channel"],
                f"channel {surface.channel} already drives servo {channels[surface.channel]!r}.",
                "One channel drives one servo: give this one a channel of its own.",
            )
        elif plugged.setdefault(surface.servo, surface.channel) != surface.channel:
            yield Problem(
                [*place, "channel"],
                f"servo {surface.servo!r} is on channel {plugged[surface.servo]} already.",
                "A servo has one plug: give the channel into which it is plugged, or name the "
                "servo that really drives this surface.",
            )
        yield from _surface(place, surface)


def _surface(place: list[str | int], surface: Surface) -> Iterator[Problem]:
    if not surface.name.strip():
        yield Problem([*place, "name"], "the name is empty.", "Give the surface a name.")
    sides = words.horn_sides(surface)
    if surface.horn.side not in sides:
        yield Problem(
            [*place, "horn", "side"],
            f"{surface.horn.side!r} is not a side of this {surface.kind}.",
            f"Write {sides[0]!r} or {sides[1]!r}.",
        )
        return
    if surface.kind == "aileron" and surface.side == "centre":
        yield Problem(
            [*place, "side"],
            "an aileron is on the left or on the right.",
            "Write side = 'left' or side = 'right'.",
            "Without the side its mounting cannot be told from its mirror image.",
        )
    yield from _holes([*place, "arm"], surface.arm.holes_mm, surface.arm.hole, "spindle")
    yield from _holes([*place, "horn"], surface.horn.holes_mm, surface.horn.hole, "hinge line")
    yield from _throws(place, surface)
    whole = surface.whole_chord_mm
    if whole is not None and whole < surface.chord_mm:
        yield Problem(
            [*place, "whole_chord"],
            f"{whole:g} mm is less than the chord of the surface alone, {surface.chord_mm:g} mm.",
            "Measure from leading edge to trailing edge, the surface included.",
        )
    yield from _rod([*place, "rod"], surface.rod)


def _rod(place: list[str | int], rod: Rod) -> Iterator[Problem]:
    if rod.play_mm < 0:
        yield Problem(
            [*place, "play"],
            f"{rod.play_mm:g} mm is less than zero.",
            "Give the free play of the rod's two ends together, or leave it out.",
        )
    if rod.inner_diameter_mm is not None and rod.inner_diameter_mm >= rod.diameter_mm:
        yield Problem(
            [*place, "inner_diameter"],
            f"{rod.inner_diameter_mm:g} mm is not less than the diameter, {rod.diameter_mm:g} mm.",
            "Give the bore of the tube, or leave it out for a solid rod.",
        )
    if rod.bare_mm is not None and rod.length_mm is not None and rod.bare_mm > rod.length_mm:
        yield Problem(
            [*place, "bare"],
            f"{rod.bare_mm:g} mm is longer than the rod, {rod.length_mm:g} mm.",
            "Give the longest stretch without support, or leave it out for the whole rod.",
        )
    least, most = THREAD_PITCH_MM
    if rod.thread_pitch_mm is not None and not least <= rod.thread_pitch_mm <= most:
        yield Problem(
            [*place, "thread_pitch"],
            f"{rod.thread_pitch_mm:g} mm is outside {least:g} to {most:g} mm.",
            "Give how far one turn moves the fitting: 0.4 mm for M2.",
        )
    ends = (rod.ends.arm, rod.ends.horn)
    if None not in ends and "adjustable" not in ends:
        for key, value in (("fitting", rod.fitting_mm), ("thread_pitch", rod.thread_pitch_mm)):
            if value is not None:
                yield Problem(
                    [*place, key],
                    f"{value:g} mm belongs to an adjustable end, and this rod has none.",
                    f"Leave {key} out, or write 'adjustable' in ends.",
                )


def _holes(
    place: list[str | int], holes: list[Length], hole: int | None, start: str
) -> Iterator[Problem]:
    if not holes:
        yield Problem(
            [*place, "holes"], "there is no hole.", f"List the holes, measured from the {start}."
        )
    if any(far <= near for near, far in itertools.pairwise(holes)):
        yield Problem(
            [*place, "holes"],
            "the holes are not in rising order.",
            f"List them counted from the {start}, the nearest first.",
        )
    if hole is not None and not 1 <= hole <= len(holes):
        yield Problem(
            [*place, "hole"],
            f"hole {hole} is not one of the {len(holes)} holes listed.",
            f"Count from the {start}: 1 is the nearest.",
        )


def _throws(place: list[str | int], surface: Surface) -> Iterator[Problem]:
    wanted_words = words.directions(surface)
    for table, entries in (("throws", surface.throws), ("free_travel", surface.free_travel)):
        if sorted(entries) != sorted(wanted_words):
            yield Problem(
                [*place, table],
                f"it names {', '.join(sorted(entries)) or 'nothing'}.",
                f"Name both directions of this {surface.kind}: {' and '.join(wanted_words)}.",
            )
            return
        for word, entry in entries.items():
            try:
                angle_deg = in_deg(surface, entry)
            except UnitError as error:
                yield Problem([*place, table, word], error.message, error.mend)
                return
            if angle_deg > STEEPEST_DEG:
                yield Problem(
                    [*place, table, word],
                    f"{angle_deg:g} deg is more than {STEEPEST_DEG:g} deg.",
                    "Check the value and its unit.",
                )
    for word in wanted_words:
        wanted_deg, free_deg = throw_deg(surface, word), free_travel_deg(surface, word)
        if wanted_deg > free_deg:
            yield Problem(
                [*place, "throws", word],
                f"{wanted_deg:.1f} deg {word} is wanted, but the bare surface moves only "
                f"{free_deg:.1f} deg {word}.",
                "Ask for less, or free the hinge; never drive a surface against its stop.",
            )


def _pairs(model: Model) -> Iterator[Problem]:
    names = [surface.name for surface in model.surfaces]
    for index, pair in enumerate(model.pairs):
        place: list[str | int] = ["pairs", index]
        for key, name in (("left", pair.left), ("right", pair.right)):
            if name not in names:
                yield Problem(
                    [*place, key],
                    f"there is no surface {name!r}.",
                    f"Known surfaces: {', '.join(names)}.",
                )
        if pair.left == pair.right:
            yield Problem(
                [*place, "right"],
                f"{pair.right!r} is paired with itself.",
                "Name the surface on the other side.",
            )
        elif pair.left in names and pair.right in names:
            left, right = model.surface(pair.left), model.surface(pair.right)
            if words.directions(left) != words.directions(right):
                yield Problem(
                    place,
                    f"{pair.left!r} and {pair.right!r} do not move in the same directions.",
                    "Pair two surfaces of the same kind.",
                )

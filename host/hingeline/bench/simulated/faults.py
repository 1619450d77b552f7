"""Faults that builders make, planted in modelled stations: for tests and for the guided demo.

Which faults are made, and how large they are, follows what builders tell of; the figures are our
own choice.
"""

from __future__ import annotations

from collections.abc import Callable, MutableMapping
from dataclasses import dataclass, field, replace

from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.builder import Slips
from hingeline.bench.simulated.station import Station
from hingeline.linkage.mounting import lean_deg, tooth_deg
from hingeline.model.words import directions, sign_of

Stations = MutableMapping[int, Station]
#: A horn whose hole stands well behind the hinge line.
AFT = Build(set_back_mm=4.0)


@dataclass(frozen=True)
class Fault:
    """One fault.

    Attributes
    ----------
    name : str
        For people.
    surface : str
        Where it is planted.
    plant : callable
        Changes the stations.
    causes : tuple of str
        What it may be called when it is found.
    slips : mapping
        What the builder says wrongly besides.
    known : bool
        Whether it is to be found with travel curves that are on record already.
    """

    name: str
    surface: str
    plant: Callable[[Stations], None]
    causes: tuple[str, ...]
    slips: Slips = field(default_factory=dict)
    known: bool = False


def station_of(stations: Stations, name: str) -> Station:
    """Return the station that drives a surface; KeyError when none does."""
    for station in stations.values():
        if station.surface is not None and station.surface.name == name:
            return station
    raise KeyError(name)


def faults() -> tuple[Fault, ...]:
    """Return the faults of a builder of the demo's model, one of each kind."""
    return (
        tooth_off(1, "elevator"),
        tooth_off(2, "rudder"),
        tooth_misread("rudder"),
        tooth_misread("rudder", known=True),
        built("set-back of 3 mm", "elevator", Build(set_back_mm=3.0), ("set-back",)),
        built_unseen(
            "set-back of 6 mm, taken for none",
            "rudder",
            Build(set_back_mm=6.0),
            ("set-back",),
            ("set-back", "0"),
        ),
        built("rod 1 mm too long", "rudder", Build(rod_mm=1.0), ("rod",)),
        reversed_direction("left aileron"),
        wrong_differential("left aileron"),
        built("slop of 1 deg more", "elevator", Build(play_mm=0.45), ("slop",)),
        short_servo("rudder"),
        mistyped("elevator"),
        swapped_leads("left aileron", "right aileron"),
        early_stop("right aileron"),
        built_unseen(
            "horn hole miscounted",
            "elevator",
            Build(horn_hole=2),
            ("hole",),
            ("holes", "fitted"),
        ),
        off_centre("elevator"),
    )


def built(name: str, surface: str, build: Build, causes: tuple[str, ...]) -> Fault:
    """Plant something built otherwise than planned."""

    def plant(stations: Stations) -> None:
        station_of(stations, surface).rebuild(build)

    return Fault(name, surface, plant, causes)


def built_unseen(
    name: str, surface: str, build: Build, causes: tuple[str, ...], says: tuple[str, str]
) -> Fault:
    """Plant the same; the builder takes it for what is planned.

    ``says``: about which topic he says what, the first time that he is asked.
    """
    topic, word = says
    fault = built(name, surface, build, causes)
    return replace(fault, slips={(topic, surface): [word]})


def tooth_off(teeth: int, surface: str) -> Fault:
    """Put an arm on whole teeth beside its place; the builder reads that as it is."""

    def plant(stations: Stations) -> None:
        _lean(stations, surface, teeth)

    count = "one tooth" if teeth == 1 else f"{teeth} teeth"
    return Fault(f"arm off by {count}", surface, plant, ("tooth",))


def tooth_misread(surface: str, *, known: bool = False) -> Fault:
    """Put an arm on one tooth beside its place, and have its lean read as if it were right."""
    read: list[str | Callable[[str], str]] = []

    def plant(stations: Stations) -> None:
        _lean(stations, surface, 1)
        read[:] = [_words(_planned_deg(station_of(stations, surface)))]

    name = "arm off by one tooth, taken for right"
    if known:
        name += ", servo on record"
    return Fault(name, surface, plant, ("tooth",), {("seat", surface): read}, known)


def wrong_differential(surface: str) -> Fault:
    """Lean an arm to the wrong side by as many teeth, and have its lean read as if right."""
    read: list[str | Callable[[str], str]] = []

    def plant(stations: Stations) -> None:
        station = station_of(stations, surface)
        assert station.surface is not None  # noqa: S101  (found by its surface)
        _lean(stations, surface, -2 * station.surface.arm.teeth_lean)
        # Whoever takes one side for the other reads the size rightly.
        way = "ahead" if _planned_deg(station) > 0 else "aft"
        read[:] = [lambda typed: f"{way} {_size(typed)}"]

    return Fault(
        "differential the wrong way",
        surface,
        plant,
        ("differential", "tooth"),
        {("seat", surface): read},
    )


def reversed_direction(surface: str) -> Fault:
    """Put the rod on the other side of the arm."""
    return built("reversed direction", surface, Build(other_side=True), ("direction",))


def short_servo(surface: str) -> Fault:
    """Fit a servo whose range ends before the throw is reached."""

    def plant(stations: Stations) -> None:
        station = station_of(stations, surface)
        truth = replace(station.servo.truth, stops_deg=(-31.0, 31.0))
        station.servo = station.servo.replaced(truth)

    return Fault("weak servo with a short range", surface, plant, ("short travel",))


def mistyped(surface: str) -> Fault:
    """Type one throw ten times too large."""
    slips: Slips = {("throw", surface): [_ten_times]}
    return Fault("mistyped reading", surface, lambda _stations: None, (), slips)


def swapped_leads(one: str, other: str) -> Fault:
    """Plug two servos into each other's channels."""

    def plant(stations: Stations) -> None:
        first, second = (
            next(key for key, found in stations.items() if found is station_of(stations, name))
            for name in (one, other)
        )
        stations[first], stations[second] = stations[second], stations[first]

    return Fault("left and right channel swapped", one, plant, ("leads",))


def early_stop(surface: str) -> Fault:
    """Let a bare surface stop two thirds of the way to its first throw."""

    def plant(stations: Stations) -> None:
        station = station_of(stations, surface)
        assert station.surface is not None  # noqa: S101  (found by its surface)
        word = directions(station.surface)[0]
        size = float(station.surface.throws[word]) * 2.0 / 3.0
        low, high = station.free_deg
        station.free_deg = (low, size) if sign_of(station.surface, word) > 0 else (-size, high)

    return Fault("bare surface that stops early", surface, plant, ("bare stops early",))


def off_centre(surface: str) -> Fault:
    """Fit a servo that stands well beside its centre at the centre pulse."""

    def plant(stations: Stations) -> None:
        station = station_of(stations, surface)
        truth = replace(station.servo.truth, centre_deg=station.servo.truth.centre_deg + 12.0)
        station.servo = station.servo.replaced(truth)

    return Fault("servo off-centre", surface, plant, ("off centre", "tooth"))


def _lean(stations: Stations, surface: str, teeth: int) -> None:
    station = station_of(stations, surface)
    assert station.planned is not None  # noqa: S101  (every surface has one)
    station.rebuild(replace(station.build, lean_deg=teeth * tooth_deg(station.planned)))


def _planned_deg(station: Station) -> float:
    assert station.surface is not None  # noqa: S101  (found by its surface)
    assert station.planned is not None  # noqa: S101  (every surface has one)
    return lean_deg(station.surface, station.planned)


def _words(lean: float) -> str:
    """Type a lean to the half degree of a protractor."""
    size = round(2.0 * abs(lean)) / 2.0
    return f"{'ahead' if lean > 0 else 'aft'} {size:g}" if size else "0"


def _size(typed: str) -> str:
    """Return the number of what was typed, without its word."""
    return next(word for word in typed.split() if word[0].isdigit())


def _ten_times(typed: str) -> str:
    """Lose the point of what was typed, or type a nought too many: "up 12.5" becomes "up 125"."""
    if "." in typed or "," in typed:
        return typed.replace(".", "").replace(",", "")
    place = max(place for place, letter in enumerate(typed) if letter.isdigit())
    return f"{typed[: place + 1]}0{typed[place + 1 :]}"

"""How thorough a calibration is: quick, usual, thorough."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.travel.schedule import POINTS

#: Fewest points each way to which a budget of time thins a walk.
FEWEST = 5


@dataclass(frozen=True)
class Kind:
    """How thorough a calibration is.

    Attributes
    ----------
    name : str
        What it is called.
    points : int
        Pulses each way, evenly spaced.
    cycles : int
        Walks up and down.
    closer : int
        Pulses that may be added in one round where the curve bends or ends.
    rounds : int
        How often pulses may be added, each time knowing what the last ones showed.
    centre_again : int
        How often centre is read again, from both sides, at the end.
    """

    name: str
    points: int
    cycles: int = 1
    closer: int = 1
    rounds: int = 1
    centre_again: int = 0


QUICK = Kind("quick", FEWEST)
USUAL = Kind("usual", POINTS, closer=1, rounds=2, centre_again=1)
THOROUGH = Kind("thorough", 21, cycles=2, closer=3, rounds=2, centre_again=2)

"""What a person sees and hears of a modelled servo: that it moved, that it buzzes."""

from __future__ import annotations

from dataclasses import dataclass

#: Movement of the arm that is seen by whoever watches its tip. Our own choice.
SEEN_DEG = 0.05
#: A servo held so far from where it was sent buzzes. Our own choice.
BUZZ_DEG = 1.0
#: Time without a change of the pulse after which the servo is taken to be at rest.
_REST_S = 0.1


@dataclass
class Senses:
    """Remembers what the last step did, for whoever is asked afterwards.

    Attributes
    ----------
    moved_deg : float
        Movement of the arm since it last rested at another pulse.
    """

    moved_deg: float = 0.0
    _pulse_us: float = 0.0
    _still_s: float = 0.0
    _from_deg: float = 0.0
    _last_deg: float = 0.0
    _buzzed: bool = False

    def notice(
        self, pulse_us: float, seconds: float, shaft_deg: float, strained_deg: float
    ) -> None:
        """Take in a moment."""
        if pulse_us != self._pulse_us:
            if self._still_s >= _REST_S:  # a new step, and not the next bit of one
                self._from_deg = self._last_deg
            self._pulse_us, self._still_s = pulse_us, 0.0
        else:
            self._still_s += seconds
            # Straining while it moves is no buzzing: only what is held is heard.
            if pulse_us > 0 and self._still_s >= _REST_S and strained_deg > BUZZ_DEG:
                self._buzzed = True
        self._last_deg = shaft_deg
        self.moved_deg = abs(shaft_deg - self._from_deg)

    def saw_movement(self) -> bool:
        """Tell whether the last step moved the arm so that it was seen."""
        return self.moved_deg > SEEN_DEG

    def heard_buzzing(self) -> bool:
        """Tell whether it buzzed since this was last asked."""
        buzzed, self._buzzed = self._buzzed, False
        return buzzed

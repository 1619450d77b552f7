"""What may be fitted to a board besides servos, as the core sees it."""

FULL = 65535  # what an analogue input reads at its reference voltage


class Fittings:
    """Contract between the core and button, light, knob, supply divider and measuring pin.

    This one has none of them. ``pressed``, ``knob``, ``rail`` and ``light`` are called from the
    tick: they must not take heap, nor wait.
    """

    has_knob = False  # what the settings say of a knob counts only where there is a pin for it
    probe_step_ns = 1000  # finest difference of width that the measuring pin can tell

    def pressed(self) -> bool:
        """Return whether the button is down at this moment; bounces and all."""
        return False

    def knob(self) -> int:
        """Return what the knob's input reads, 0 to ``FULL``."""
        return 0

    def rail(self) -> int:
        """Return what the supply divider's input reads, 0 to ``FULL``."""
        return 0

    def light(self, on: bool) -> None:
        """Switch the light."""

    def measure(self) -> int:
        """Wait for a whole pulse on the measuring pin; return its width in ns, or 0 for none.

        Takes up to two frames at the slowest rate; nothing else happens meanwhile.
        """
        return 0

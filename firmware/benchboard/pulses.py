"""What the core asks of its outputs, and a recorder of what would be sent."""

from .boards import Board, rp2_tick_ps


class Outputs:
    """Contract between the core and whatever makes pulses.

    Channels count from 0 here. The core keeps the order: ``pulse`` any number of times,
    ``silence``, a whole frame later ``release``. It calls ``set_frame`` only while every channel
    is released.
    """

    frame_hz = 50

    def pulse(self, index: int, pulse_ns: int) -> None:
        """Send this pulse from the next frame on."""
        raise NotImplementedError

    def silence(self, index: int) -> None:
        """Send no more pulses after the present frame; the pin keeps its function."""
        raise NotImplementedError

    def release(self, index: int) -> None:
        """Make the pin a low output."""
        raise NotImplementedError

    def set_frame(self, frame_hz: int) -> None:
        """Set the frame rate of all channels."""
        raise NotImplementedError

    def tick_ps(self) -> int:
        """Return the step of the pulse width at this frame rate, in picoseconds."""
        raise NotImplementedError

    def close(self) -> None:
        """Stop everything from any state, at a frame's end, and leave all pins low."""
        raise NotImplementedError


class Recorder(Outputs):
    """Outputs that only remember.

    Attributes
    ----------
    pulses_ns : list of int
        Pulse that each channel now sends, in ns; 0: none.
    released : list of bool
        Whether the pin is a plain low output.
    frame_hz : int
        Frames per second.
    """

    def __init__(self, board: Board):
        self.board = board
        self.frame_hz = 50
        self.pulses_ns = [0] * len(board.gpios)
        self.released = [True] * len(board.gpios)

    def pulse(self, index: int, pulse_ns: int) -> None:
        """Remember the pulse."""
        self.pulses_ns[index] = pulse_ns
        self.released[index] = False

    def silence(self, index: int) -> None:
        """Remember that there is no pulse."""
        self.pulses_ns[index] = 0

    def release(self, index: int) -> None:
        """Remember the low pin.

        Raises
        ------
        RuntimeError
            When the channel still sends pulses.
        """
        if self.pulses_ns[index]:
            raise RuntimeError("channel %d released in mid-pulse" % (index + 1))
        self.released[index] = True

    def set_frame(self, frame_hz: int) -> None:
        """Remember the frame rate.

        Raises
        ------
        RuntimeError
            When a channel is not released.
        """
        if not all(self.released):
            raise RuntimeError("frame rate changed with outputs on")
        self.frame_hz = frame_hz

    def tick_ps(self) -> int:
        """Return the step of an RP2 chip with the board's clock."""
        return rp2_tick_ps(self.board.clock_hz, self.frame_hz)

    def close(self) -> None:
        """Forget all pulses."""
        for index in range(len(self.pulses_ns)):
            self.pulses_ns[index] = 0
            self.released[index] = True

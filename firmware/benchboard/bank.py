"""All channels together: who may start, what goes out, how it stops."""

from .channels import Channel
from .guard import STALL_MS, Stagger, permit
from .pulses import Outputs


class Bank:
    """The channels of a board and their outputs."""

    def __init__(self, outputs: Outputs, count: int):
        self.outputs = outputs
        self.channels = tuple([Channel(n + 1) for n in range(count)])
        self.stagger = Stagger(self.frame_ms())

    def frame_ms(self) -> int:
        """Return the length of a frame, rounded up."""
        return -(-1000 // self.outputs.frame_hz)

    def stop_ms(self) -> int:
        """Return how long after the order of zero width a pin surely rests.

        The zero counts from the next frame, at most a whole one away. One millisecond more for a
        frame that is a little longer than asked.
        """
        return self.frame_ms() + 1

    def advance(self, ms: int) -> None:
        """Move the time on by ``ms`` and send what follows from it. Takes no heap."""
        self.stagger.advance(ms)
        slew_ms = ms if ms < STALL_MS else STALL_MS
        for channel in self.channels:
            if channel.quiet_ms > 0:
                self._rest(channel, ms)
            if not channel.wanted:
                continue
            channel.advance_target(ms)
            if channel.on:
                pulse_ns = channel.next_ns(slew_ms)
                if pulse_ns != channel.now_ns:
                    self._send(channel, pulse_ns)
            elif channel.quiet_ms == 0 and self.stagger.take():
                channel.on = True
                self._send(channel, channel.target_ns)

    def freeze(self, mask: int) -> None:
        """Stop all motion of the channels in a mask; those that have not begun are put off."""
        for channel in self.channels:
            if mask >> (channel.number - 1) & 1 and channel.wanted:
                if channel.on:
                    channel.aim(channel.now_ns, None)
                else:
                    self._forget(channel)

    def stop(self, mask: int) -> None:
        """End the pulses of the channels in a mask."""
        for channel in self.channels:
            if mask >> (channel.number - 1) & 1:
                if channel.on:
                    self.outputs.silence(channel.number - 1)
                    channel.quiet_ms = self.stop_ms()
                    channel.ending = True
                self._forget(channel)

    def set_frame(self, frame_hz: int) -> None:
        """Set the frame rate; every channel must be at rest."""
        if frame_hz == self.outputs.frame_hz:
            return
        self.outputs.set_frame(frame_hz)
        self.stagger.set_frame(self.frame_ms())

    def on_mask(self) -> int:
        """Return the channels that give pulses or wait for their first."""
        mask = 0
        for channel in self.channels:
            if channel.wanted:
                mask |= 1 << (channel.number - 1)
        return mask

    def moving_mask(self) -> int:
        """Return the channels whose pulse has still to change."""
        mask = 0
        for channel in self.channels:
            if channel.is_moving():
                mask |= 1 << (channel.number - 1)
        return mask

    def at_rest(self) -> bool:
        """Return whether every channel is wholly off."""
        return self.on_mask() == 0 and self.quiet_ms() == 0

    def forget_servos(self) -> None:
        """Forget what was set up for the channels that are off."""
        for channel in self.channels:
            if channel.at_rest():
                channel.set_up(0, 0, 0, 0, 0)

    def quiet_ms(self) -> int:
        """Return the time until every stopping pin is released."""
        most_ms = 0
        for channel in self.channels:
            most_ms = max(most_ms, channel.quiet_ms + (1 if channel.ending else 0))
        return most_ms

    def start_ms(self, more: list[Channel]) -> int:
        """Return when the last of the channels waiting, with ``more`` among them, will start.

        An upper bound; 0 when none of ``more`` has to wait. Takes no heap.
        """
        waiting, asked = 0, False
        for channel in self.channels:
            if not channel.on:
                if channel in more:
                    asked = True
                    waiting += 1
                elif channel.wanted:
                    waiting += 1
        if not asked:
            return 0
        first_ms = max(self.stagger.wait_ms, self.quiet_ms())
        return first_ms + (waiting - 1) * self.stagger.gap_ms + 1

    def _rest(self, channel: Channel, ms: int) -> None:
        if channel.ending:
            channel.ending = False
            return
        channel.quiet_ms -= ms
        if channel.quiet_ms <= 0:
            channel.quiet_ms = 0
            self.outputs.release(channel.number - 1)

    def _send(self, channel: Channel, pulse_ns: int) -> None:
        permit(channel.number, pulse_ns, channel.low_ns, channel.high_ns)
        self.outputs.pulse(channel.number - 1, pulse_ns)
        channel.now_ns = pulse_ns

    def _forget(self, channel: Channel) -> None:
        channel.wanted = False
        channel.on = False
        channel.now_ns = 0
        channel.target_ns = 0
        channel.motion = None

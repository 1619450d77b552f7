"""From a request to what it does and what the reply says.

Every function first looks at the whole request and refuses it as a whole; only then does it
change anything. Ranges that the table of the wire holds have been checked before.
"""

from shared_protocol.messages import RefusedError
from shared_protocol.table import MOTIONS, SHAPES, STEPS, number_of

from .bank import Bank
from .channels import Channel
from .fittings import Fittings
from .guard import Rail, Silence
from .limits import need_frame, need_servo, need_silence
from .motions import Ramp, Steps, Sweep, shortest_period_ms

SMOOTH = number_of(SHAPES, "smooth")
MOVING = ("hold", "centre", "sweep", "steps")


class Commands:
    """Everything a host can ask of the channels.

    ``obey`` returns the values of the reply, or raises ``RefusedError`` with nothing changed.
    """

    def __init__(self, bank: Bank, silence: Silence, rail: Rail, fittings: Fittings):
        self.bank = bank
        self.silence = silence
        self.rail = rail
        self.fittings = fittings
        self._actions = {
            "setup": self.setup,
            "hold": self.hold,
            "centre": self.centre,
            "sweep": self.sweep,
            "steps": self.steps,
            "freeze": self.freeze,
            "off": self.off,
            "frame": self.frame,
            "silence": self.allow_silence,
            "state": self.state,
            "measure": self.measure,
        }

    def obey(self, word: str, values: dict[str, int]) -> dict[str, int]:
        """Do what a request asks."""
        if self.rail.low and word in MOVING:
            raise RefusedError("rail_low", 0, "", self.rail.mv(), self.rail.low_mv)
        return self._actions[word](values)

    def setup(self, values: dict[str, int]) -> dict[str, int]:
        """Say what servo hangs on a channel."""
        channel = self._channel(values["ch"])
        if not channel.at_rest():
            raise RefusedError("channel_on", channel.number)
        need_servo(channel.number, values, self.bank.outputs.frame_hz)
        channel.set_up(
            values["class"],
            values["low_ns"],
            values["high_ns"],
            values["centre_ns"],
            values["slew_ns_per_ms"],
        )
        return {}

    def hold(self, values: dict[str, int]) -> dict[str, int]:
        """Go to a pulse on each channel named."""
        aims = []
        for n in range(1, 9):
            key = "p%d_ns" % n
            if key in values:
                channel = self._channel(n)
                _need_limits(channel, key, values[key])
                aims.append((channel, values[key]))
        if not aims:
            raise RefusedError("nothing_chosen")
        return self._go(aims, values)

    def centre(self, values: dict[str, int]) -> dict[str, int]:
        """Go to centre."""
        chosen = self._chosen(values)
        for channel in chosen:
            _need_setup(channel)
        return self._go([(channel, channel.centre_ns) for channel in chosen], values)

    def sweep(self, values: dict[str, int]) -> dict[str, int]:
        """Run between two pulses."""
        chosen = self._chosen(values)
        low_ns, high_ns, opposed = values["low_ns"], values["high_ns"], values["opposed_mask"]
        smooth = values["shape"] == SMOOTH
        if opposed & ~values["mask"]:
            raise RefusedError("not_in_mask", 0, "opposed_mask", opposed, values["mask"])
        for channel in chosen:
            _need_limits(channel, "low_ns", low_ns)
            _need_limits(channel, "high_ns", high_ns)
        if low_ns >= high_ns:
            raise RefusedError("wrong_order", 0, "low_ns", low_ns, high_ns)
        for channel in chosen:
            least = shortest_period_ms(high_ns - low_ns, smooth, channel.slew_ns_per_ms)
            if values["period_ms"] < least:
                raise RefusedError(
                    "too_fast", channel.number, "period_ms", values["period_ms"], least
                )
        ends = []
        for channel in chosen:
            against = opposed >> (channel.number - 1) & 1
            ends.append((high_ns, low_ns) if against else (low_ns, high_ns))
        # They begin once the last has come to its end of the sweep.
        reply = self._times([(ch, ends[n][0]) for n, ch in enumerate(chosen)])
        for n, channel in enumerate(chosen):
            first_ns, second_ns = ends[n]
            motion = Sweep(
                first_ns,
                second_ns,
                values["period_ms"],
                values["cycles"],
                smooth,
                reply["settle_ms"] + n * values.get("lag_ms", 0),
            )
            channel.aim(first_ns, motion)
        return reply

    def steps(self, values: dict[str, int]) -> dict[str, int]:
        """Go through a list of pulses."""
        chosen = self._chosen(values)
        pulses = []
        for n in range(1, STEPS + 1):
            key = "s%d_ns" % n
            if key not in values:
                break
            pulses.append(values[key])
        for n in range(len(pulses) + 1, STEPS + 1):
            if "s%d_ns" % n in values:
                raise RefusedError("missing_key", 0, "s%d_ns" % (len(pulses) + 1))
        for channel in chosen:
            for n, pulse_ns in enumerate(pulses):
                _need_limits(channel, "s%d_ns" % (n + 1), pulse_ns)
        reply = self._times([(channel, pulses[0]) for channel in chosen])
        # All take the time of the slowest, so that they stay together.
        slew = min([channel.slew_ns_per_ms for channel in chosen])
        lag_ms = values.get("lag_ms", 0)
        lasts = [reply["settle_ms"] + values["dwell_ms"]]
        for n in range(1, len(pulses)):
            way = abs(pulses[n] - pulses[n - 1])
            lasts.append((way + slew - 1) // slew + values["dwell_ms"])
        for n, channel in enumerate(chosen):
            own = [lasts[0] + n * lag_ms] + lasts[1:]  # noqa: RUF005 - for MicroPython
            channel.aim(pulses[0], Steps(tuple(pulses), tuple(own)))
        reply["lasts_ms"] = sum(lasts) + (len(chosen) - 1) * lag_ms
        return reply

    def freeze(self, values: dict[str, int]) -> dict[str, int]:
        """Stop motion and hold."""
        self._chosen(values)
        self.bank.freeze(values["mask"])
        return {"on_mask": self.bank.on_mask()}

    def off(self, values: dict[str, int]) -> dict[str, int]:
        """End the pulses."""
        self._chosen(values)
        self.bank.stop(values["mask"])
        return {"off_ms": self.bank.quiet_ms()}

    def frame(self, values: dict[str, int]) -> dict[str, int]:
        """Set the frame rate."""
        for channel in self.bank.channels:
            if not channel.at_rest():
                raise RefusedError("channel_on", channel.number)
            if channel.pulse_class:
                need_frame(channel.number, "frame_hz", channel.high_ns, values["frame_hz"])
        self.bank.set_frame(values["frame_hz"])
        return {"tick_ps": self.bank.outputs.tick_ps()}

    def allow_silence(self, values: dict[str, int]) -> dict[str, int]:
        """Say how long the host may be silent."""
        hold_ms, off_ms = values["hold_ms"], values["off_ms"]
        need_silence(hold_ms, off_ms)
        self.silence.hold_ms, self.silence.off_ms = hold_ms, off_ms
        return {}

    def state(self, values: dict[str, int]) -> dict[str, int]:
        """Tell about one channel."""
        channel = self._channel(values["ch"])
        return {
            "class": channel.pulse_class,
            "on": 1 if channel.on else 0,
            "now_ns": channel.now_ns,
            "target_ns": channel.target_ns,
            "low_ns": channel.low_ns,
            "high_ns": channel.high_ns,
            "centre_ns": channel.centre_ns,
            "slew_ns_per_ms": channel.slew_ns_per_ms,
            "motion": number_of(MOTIONS, _motion(channel)),
        }

    def measure(self, values: dict[str, int]) -> dict[str, int]:
        """Measure a pulse at the board's own pin."""
        channel = self._channel(values["ch"])
        if not channel.on or channel.is_moving():
            raise RefusedError("not_holding", channel.number)
        return {"width_ns": self.fittings.measure(), "step_ns": self.fittings.probe_step_ns}

    def _channel(self, number: int) -> Channel:
        count = len(self.bank.channels)
        if number > count:
            raise RefusedError("no_such_channel", number, "", number, count)
        return self.bank.channels[number - 1]

    def _chosen(self, values: dict[str, int]) -> list[Channel]:
        mask = values["mask"]
        return [self._channel(n + 1) for n in range(8) if mask >> n & 1]

    def _times(self, aims: list[tuple[Channel, int]]) -> dict[str, int]:
        start_ms = self.bank.start_ms([channel for channel, _ in aims])
        ways_ms = [channel.way_ms(pulse_ns) for channel, pulse_ns in aims]
        return {"start_ms": start_ms, "settle_ms": max(start_ms, max(ways_ms))}

    def _go(self, aims: list[tuple[Channel, int]], values: dict[str, int]) -> dict[str, int]:
        reply = self._times(aims)
        lasts_ms = values.get("ramp_ms", 0)
        ramps = [(ch, pulse_ns) for ch, pulse_ns in aims if lasts_ms and ch.on]
        for channel, pulse_ns in ramps:
            if channel.way_ms(pulse_ns) > lasts_ms:
                least_ms = max([ch.way_ms(end_ns) for ch, end_ns in ramps])
                raise RefusedError("too_fast", channel.number, "ramp_ms", lasts_ms, least_ms)
        if ramps:
            reply["settle_ms"] = reply["start_ms"] + lasts_ms
        for channel, pulse_ns in aims:
            channel.aim(pulse_ns, None)
        # All ramps begin together, once the last channel that was off has had its first pulse.
        for channel, pulse_ns in ramps:
            motion = Ramp(channel.now_ns, pulse_ns, lasts_ms, reply["start_ms"])
            channel.aim(channel.now_ns, motion)
        return reply


def _need_setup(channel: Channel) -> None:
    if not channel.pulse_class:
        raise RefusedError("not_set_up", channel.number)


def _need_limits(channel: Channel, key: str, pulse_ns: int) -> None:
    _need_setup(channel)
    if pulse_ns < channel.low_ns:
        raise RefusedError("below_limit", channel.number, key, pulse_ns, channel.low_ns)
    if pulse_ns > channel.high_ns:
        raise RefusedError("above_limit", channel.number, key, pulse_ns, channel.high_ns)


def _motion(channel: Channel) -> str:
    if not channel.wanted:
        return "stopping" if channel.quiet_ms else "off"
    if not channel.on:
        return "starting"
    return "hold" if channel.motion is None else channel.motion.name

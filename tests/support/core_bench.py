"""A core, a recorder of its pulses and a host session on an invented clock."""

from benchboard.boards import board_named
from benchboard.core import Core
from benchboard.fittings import FULL, Fittings
from benchboard.pulses import Recorder
from shared_protocol.host_session import Greeting, HostSession, Refusal, Reply

CLOCK = 1 << 30  # the board's microseconds begin again here

US = 1000  # ns
NOTHING = [0] * 8
SWEEP = {
    "mask": 3,
    "opposed_mask": 2,
    "low_ns": 1000 * US,
    "high_ns": 2000 * US,
    "period_ms": 2000,
    "cycles": 0,
    "shape": 1,
}


def steps_of(log, ch):
    """Return the pulses of one channel from a log."""
    return [pulse for _, number, pulse in log if number == ch]


class Watched(Recorder):
    """A recorder that also keeps what happened when: (microseconds since the start, ch, ns)."""

    def __init__(self, board):
        super().__init__(board)
        self.log = []
        self.bench = None
        self.logging = True

    def note(self, index, pulse_ns):
        if self.logging:
            self.log.append((self.bench.passed_us, index + 1, pulse_ns))

    def pulse(self, index, pulse_ns):
        super().pulse(index, pulse_ns)
        self.note(index, pulse_ns)

    def silence(self, index):
        super().silence(index)
        self.note(index, 0)

    def release(self, index):
        super().release(index)
        self.note(index, -1)


class Fitted(Fittings):
    """Everything that can be fitted, set and read by the test."""

    has_knob = True
    probe_step_ns = 16

    def __init__(self):
        self.down = False
        self.turned = 0
        self.supply = FULL
        self.lit = False
        self.width_ns = 1500123

    def pressed(self):
        return self.down

    def knob(self):
        return self.turned

    def rail(self):
        return self.supply

    def light(self, on):
        self.lit = on

    def measure(self):
        return self.width_ns


class Bench:
    def __init__(self, start_us=0, token=99, reason="power", settings=None, supply=FULL):
        self.fitted = Fitted()
        self.fitted.supply = supply
        self.kept = []
        self.full = False  # the store takes nothing more
        self.board = board_named("simulated")
        self.outputs = Watched(self.board)
        self.outputs.bench = self
        self.passed_us = 0
        self.start_us = start_us
        self.tokens = token
        self.core = Core(
            self.outputs,
            self.board,
            self.new_token,
            reason,
            3,
            1 << 63,
            start_us % CLOCK,
            self.fitted,
            settings,
            self.keep,
            180000,
        )
        self.host = HostSession()

    def keep(self, settings):
        if self.full:
            raise OSError(28)  # no space left
        self.kept.append(settings)

    def new_token(self):
        self.tokens += 1
        return self.tokens

    def now_us(self):
        return (self.start_us + self.passed_us) % CLOCK

    def run(self, ms, step_us=1000):
        """Let time pass in steps."""
        end_us = self.passed_us + ms * 1000
        while self.passed_us < end_us:
            self.passed_us += min(step_us, end_us - self.passed_us)
            self.core.tick(self.now_us())

    def alive(self, ms, step_us=1000):
        """Let time pass with a host that beats."""
        while ms > 0:
            self.run(min(ms, 500), step_us)
            ms -= 500
            self.ask("beat")

    def press(self, ms=100):
        """Press the button, let it go, and wait until both have been taken note of."""
        self.fitted.down = True
        self.run(ms)
        self.fitted.down = False
        self.run(30)

    def lit(self, ms):
        """Let time pass; return how long the light was on and off by turns, to 10 ms."""
        runs, was = [], None
        for _ in range(ms // 10):
            self.run(10)
            if self.fitted.lit != was:
                runs.append(0)
                was = self.fitted.lit
            runs[-1] += 10
        return runs

    def feed(self, data):
        return self.core.feed(data, self.now_us())

    def ask(self, word, **values):
        """Ask and return the one event that answers."""
        if "klass" in values:
            values["class"] = values.pop("klass")
        if word == "hello":
            _, data = self.host.hello(values.get("nonce", 7))
        else:
            _, data = self.host.request(word, values)
        (event,) = self.host.receive(self.feed(data))
        return event

    def get(self, word, **values):
        """Ask for something that must be obeyed; return the values of the reply."""
        event = self.ask(word, **values)
        if not isinstance(event, Reply):
            raise AssertionError(event.describe())
        return event.values

    def no(self, word, **values):
        """Ask for something that must be refused; return code, channel, value, limit."""
        event = self.ask(word, **values)
        if not isinstance(event, Refusal):
            raise AssertionError("%s was obeyed" % word)  # noqa: UP031
        return (event.code, event.ch, event.value, event.limit)

    def setup(self, channels=(1, 2, 3, 4, 5, 6, 7, 8), slew=2000, low=900, high=2100, centre=1500):
        """Say hello and set channels up as standard servos; pulses in us."""
        if not isinstance(self.ask("hello"), Greeting):
            raise AssertionError("no greeting")
        for ch in channels:
            self.get(
                "setup",
                ch=ch,
                klass=1,
                low_ns=low * US,
                high_ns=high * US,
                centre_ns=centre * US,
                slew_ns_per_ms=slew,
            )
        return self

    def pulses(self):
        """Return the pulses that go out now, in us."""
        return [pulse_ns // US for pulse_ns in self.outputs.pulses_ns]

"""Nothing moves unasked: what is wrong is refused first, then the channels are named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchboard import motions
from hingeline.bench.procedures.channels import SLEW_US_PER_S
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.cli import step, sweep
from hingeline.cli.board import settings as board_settings
from hingeline.cli.sweep import shortest_period_ms
from shared_protocol import table
from tests.cli.running import Terminal, run

MOVING = [
    ["centre", "millrace.toml", "--hold", "1 s"],
    ["sweep", "millrace.toml", "rudder"],
    ["step", "millrace.toml", "rudder", "--pulse", "1400 us"],
    ["calibrate", "millrace.toml", "R1"],
    ["deadband", "millrace.toml", "R1"],
    ["listen", "millrace.toml", "R1", "--hold", "0.5 s"],
    ["throw", "millrace.toml", "rudder"],
    ["pair", "millrace.toml"],
]
by_name = pytest.mark.parametrize("command", MOVING, ids=[words[0] for words in MOVING])
SIM = ("--port", "sim:", "--yes")
JUMP = "An arm may jump at its first pulse."


@pytest.fixture
def sealed(monkeypatch):
    """Let the test fail when a bench is opened."""

    def opened(*_arguments):
        raise AssertionError("a bench was opened")

    monkeypatch.setattr(SimulatedTransport, "__init__", opened)


def named(command):
    """Return the channels that a command moves in the example model."""
    if command[0] == "centre":
        return ["channel 1: A1, left aileron", "channel 3: E1, elevator", "channel 4: R1, rudder"]
    if command[0] == "pair":
        return ["channel 1: A1, left aileron", "channel 2: A2, right aileron"]
    return ["channel 4: R1, rudder  (standard, 900 to 2100 us)"]


@by_name
def test_where_nobody_can_be_asked_nothing_moves(command, folder, sealed):
    del sealed
    ran = run(*command, "--port", "sim:", typed=["y", "y"])
    assert ran.code == 6
    assert ran.out == ""
    assert "nothing was moved: nobody can be asked here" in ran.err
    assert "--yes" in ran.err
    assert not (folder / "records.sqlite").exists()


@by_name
def test_channels_and_the_jump_are_named_before_anything_moves(command, monkeypatch):
    seen = []
    real = SimulatedTransport.__init__
    monkeypatch.setattr(
        SimulatedTransport, "__init__", lambda *a: (seen.append("opened"), real(*a))[1]
    )
    monkeypatch.setattr("hingeline.cli.benchwork.tell", seen.append)
    ran = run(*command, "--port", "sim:", "--yes")
    assert ran.code in (0, 1)
    before = "\n".join(seen[: seen.index("opened")])
    for channel in named(command):
        assert channel in before
    assert JUMP in before
    assert "On sim:, these channels will" in before


@pytest.mark.parametrize("answer", ["n", "", "no"])
def test_no_means_that_nothing_moves(answer, folder):
    with Terminal("throw", "millrace.toml", "rudder", "--port", "sim:") as terminal:
        before = terminal.until("Go on? [y/N]:")
        terminal.type(answer)
        ran = terminal.ended()
    assert "channel 4: R1, rudder" in before
    assert " ".join(JUMP.split()) in " ".join(before.split())
    assert ran.code == 130
    assert "nothing was moved" in ran.err
    assert ran.out == ""
    assert not (folder / "records.sqlite").exists()


def test_yes_goes_on_and_data_stay_apart_from_talk():
    with Terminal("throw", "millrace.toml", "rudder", "--port", "sim:", "--json") as terminal:
        terminal.until("Go on? [y/N]:")
        terminal.type("y")
        ran = terminal.ended()
    assert ran.code == 0
    assert ran.out.startswith("{")
    assert [row["direction"] for row in ran.figures["surfaces"][0]["throws"]] == ["left", "right"]
    assert "read as" in ran.err


BARE = ["--channel", "2", "--pulse-class", "standard"]
CUSTOM = ["--channel", "1", "--pulse-class", "custom", "--limits", "350 us", "1700 us"]
FAST = [*BARE, "--digital", "--frame-rate", "333 Hz"]
WIDE = ["--from", "1000 us", "--to", "2000 us"]
NARROW = ["--channel", "2", "--pulse-class", "narrow"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["sweep", "millrace.toml", "rudder", "--from", "1600 us", "--to", "1400 us"],
            "not below",
        ),
        (["sweep", "millrace.toml", "rudder", "--from", "899 us"], "900 to 2100 us of channel 4"),
        (["sweep", "millrace.toml", "rudder", "--from", "899 us"], "widen pulse_limits in the"),
        (["sweep", *BARE, "--from", "999 us"], "give --limits LOW HIGH"),
        (["sweep", *BARE, "--from", "499 us"], "The class 'standard' ends at 500 and 2500 us"),
        (["sweep", *BARE, "--from", "1700 us"], "--from 1700 us is not below the usual 1700 us"),
        (
            ["sweep", *BARE, "--to", "1200 us"],
            "usual 1300 us is not below --to 1200 us. Name both",
        ),
        (
            ["sweep", *BARE, "--at", "1900 us"],
            "Without --to this end is 200 us from the centre, 1900 us: 2100 us is outside the "
            "1000 to 2000 us of channel 2 (servo). Name --to. Where",
        ),
        (
            ["sweep", *BARE, "--at", "1199 us"],
            "Without --from this end is 200 us from the centre, 1199 us: 999 us is outside",
        ),
        (
            ["sweep", *BARE, *WIDE, "--period", "3.7 s"],
            "a period of 3.7 s is too quick from 1000 to 2000 us",
        ),
        (["sweep", *BARE, *WIDE, "--period", "3.749 s"], '--period "3.75 s"'),
        (
            [
                "sweep",
                *BARE,
                "--limits",
                "500 us",
                "2500 us",
                "--from",
                "500 us",
                "--to",
                "2500 us",
            ],
            '--period "7.5 s"',
        ),
        (["sweep", *BARE, *WIDE, "--shape", "triangle", "--period", "2.4 s"], '--period "2.5 s"'),
        (["sweep", "millrace.toml", "rudder", "--opposed", "elevator"], "channel 3, which is not"),
        (["sweep", *BARE, "--opposed", "rudder"], "give a MODEL file"),
        (["sweep", "millrace.toml", "rudder", "--period", "0.1 s"], "not in 0.2 to 120 s"),
        (["sweep", "millrace.toml", "rudder", "--cycles", "0"], "1<=x<=10000"),
        (["step", "millrace.toml", "rudder", "--pulse", "2101 us"], "2101 us is outside"),
        (["step", *NARROW, "--pulse", "1500 us"], "560 to 960 us of channel 2"),
        (["step", "millrace.toml", "rudder", *["--pulse", "1500 us"] * 17], "17 pulses"),
        (
            ["step", "millrace.toml", "rudder", "--pulse", "1500 us", "--dwell", "601 s"],
            "0 to 600",
        ),
        (["step", "millrace.toml", "rudder", "--pulse", "1.5 us"], "not a whole number"),
        (["step", "millrace.toml", "rudder", "--pulse", "1,500 us"], "not a whole number"),
        (["step", "millrace.toml", "rudder", "--pulse", "-1500 us"], "not a whole number"),
        (["step", "millrace.toml", "rudder", "--pulse", "nan us"], "not a whole number"),
        (["step", "millrace.toml", "rudder", "--pulse", "1500"], "has no unit"),
        (["step", "millrace.toml", "rudder", "--pulse", "1.5 ms"], "'ms' is not one of"),
        (["step", "millrace.toml", "rudder", "--pulse", "1500000 us"], "1500000 us is outside"),
        (["step", "millrace.toml", "rudder", "--pulse", "0 us"], "0 us is outside"),
        (["step", "millrace.toml", "rudder"], "--pulse"),
        (["centre", "--channel", "1"], "narrow-pulse"),
        (["centre", "--channel", "9", "--pulse-class", "standard"], "1<=x<=8"),
        (["centre", *NARROW, "--at", "1500 us"], "--at 1500 us is outside 300 to 1100 us"),
        (["centre", *BARE, "--limits", "400 us", "2000 us"], "500 to 2500 us"),
        (
            ["centre", *BARE, "--limits", "1600 us", "2000 us"],
            "1500 us, the usual centre of the class 'standard', is not between --limits 1600 us",
        ),
        (["centre", *BARE, "--limits", "1600 us", "2000 us"], "Give --at"),
        (["centre", *BARE, "--limits", "2000 us", "1000 us"], "the lower one first"),
        (
            ["centre", *BARE, "--at", "2100 us"],
            "--at 2100 us is not between 1000 and 2000 us, the usual limits of the class",
        ),
        (["centre", *BARE, "--at", "2100 us"], "Give --limits LOW HIGH"),
        (
            ["centre", *BARE, "--limits", "1000 us", "2000 us", "--at", "2000 us"],
            "--at 2000 us is not between --limits 1000 us and 2000 us",
        ),
        (["centre", *BARE, "--at", "1500"], 'Write it like "760 us" or "1500 us"'),
        (["centre", *BARE, "--digital"], "--digital allows a higher --frame-rate"),
        (["centre", "millrace.toml", "--channel", "1"], "leave --channel"),
        (["centre", "millrace.toml", "--hold", "-1 s"], "below 0 s"),
        (["centre", "millrace.toml", "--still", "0.5 s"], "below 1 s"),
        (["centre", "millrace.toml", "--still", "9 s", "--hold", "9 s"], "not both"),
        (["centre", "--channel", "1", "--pulse-class", "custom"], "state --limits and --at"),
        (["centre", *CUSTOM[:-3], "--at", "400 us"], "state --limits and --at"),
        (["centre", *CUSTOM[:-2], "299 us", "1700 us", "--at", "600 us"], "300 to 2500 us"),
        (["centre", *BARE, "--frame-rate", "333 Hz"], "not said to be digital"),
        (["centre", *BARE, "--frame-rate", "50 Hz"], "not said to be digital"),
        (["centre", *BARE, "--digital", "--frame-rate", "334 Hz"], "50 to 333 Hz"),
        (["centre", *BARE, "--digital", "--frame-rate", "333"], "has no unit"),
        (
            ["centre", *FAST, "--limits", "900 us", "2300 us"],
            "lasts 3003 us, too short for a pulse of 2300 us",
        ),
        (["centre", "millrace.toml", "--digital"], "leave --channel"),
        (["sweep", "millrace.toml", "rudder", "--lag", "121 s"], "not in 0 to 120 s"),
        (["centre"], "Name a MODEL file"),
        (["pair", "millrace.toml", "--points", "3"], "5<=x<=101"),
        (["pair", "millrace.toml", "--tolerance", "0 deg"], "not in 0.1 to 45 deg"),
        (["pair", "millrace.toml", "--tolerance", "inf deg"], "not a number"),
        (["calibrate", "millrace.toml"], "one of: A1, A2, E1, R1"),
        (["calibrate", "millrace.toml", "R1", "--points", "2"], "3<=x<=101"),
        (["calibrate", "millrace.toml", "R1", "--gauge", "deg", "--rod-off"], "rod off"),
    ],
)
def test_what_is_wrong_in_itself_is_refused_before_anyone_is_asked(arguments, message, sealed):
    del sealed
    ran = run(*arguments, "--port", "sim:", "--yes")
    assert ran.code == 2
    assert message in ran.talk
    assert ran.out == ""
    assert "will" not in ran.err


def test_the_options_accept_what_the_wire_accepts():
    def limits(word, key):
        fields = {field.key: field for field in table.word_named(word).fields}
        return fields[key].low / 1000, fields[key].high / 1000

    commands = (sweep.command, step.command, board_settings.command)
    options = {p.name: p.type for command in commands for p in command.params}
    for word in ("sweep", "steps"):
        assert (options["lag"].least, options["lag"].most) == limits(word, "lag_ms")
    for key in ("off_s", "period_s", "rail_full_v", "rail_low_v"):
        field = f"{key[:-1]}m{key[-1]}"
        assert (options[key].least, options[key].most) == limits("change", field), key
    # A board told to wait less long would take every lost beat for a silent host.
    assert limits("change", "hold_ms")[0] < options["hold_s"].least
    assert options["hold_s"].most == limits("change", "hold_ms")[1]
    rate = {f.key: f for f in table.word_named("change").fields}["frame_hz"]
    assert (options["frame_hz"].least, options["frame_hz"].most) == (rate.low, rate.high)
    slew = {f.key: f for f in table.word_named("keep").fields}["slew_ns_per_ms"]
    assert (options["slew"].least, options["slew"].most) == (slew.low, slew.high)
    assert (options["period"].least, options["period"].most) == limits("sweep", "period_ms")
    assert (options["dwell"].least, options["dwell"].most) == limits("steps", "dwell_ms")
    cycles = {f.key: f for f in table.word_named("sweep").fields}["cycles"]
    assert options["cycles"].max == cycles.high


@pytest.mark.parametrize(
    "arguments",
    [
        ["sweep", "wide.toml", "rudder", "--to", "2300 us"],
        ["step", "wide.toml", "rudder", "--pulse", "2300 us"],
    ],
)
def test_a_rod_that_is_on_narrows_what_is_driven(arguments, folder):
    text = (folder / "millrace.toml").read_text()
    (folder / "wide.toml").write_text(text.replace("2100 us", "2300 us"))
    on = run(*arguments, "--port", "sim:", "--yes")
    assert on.code == 5
    assert "with its rod on it may turn" in on.talk
    assert "--rod-off" in on.err
    assert run(*arguments, "--rod-off", "--port", "sim:", "--yes").code == 0


def test_more_frames_than_usual_are_told_and_only_where_all_may_get_them(folder):
    text = (folder / "millrace.toml").read_text()
    for label, rate in (("A1", "200 Hz"), ("A2", "300 Hz")):
        text = text.replace(
            f"[servos.{label}]", f'[servos.{label}]\ndigital = true\nframe_rate = "{rate}"'
        )
    (folder / "fast.toml").write_text(text)
    told = "They get 200 frames per second"
    pair = run("centre", "fast.toml", "left aileron", "right aileron", "--hold", "1 s", *SIM)
    assert (pair.code, told in pair.talk) == (0, True)
    # The elevator's servo is of the common kind: all get the frames that it can bear.
    mixed = run("centre", "fast.toml", "left aileron", "elevator", "--hold", "1 s", *SIM)
    assert (mixed.code, "frames per second" in mixed.talk) == (0, False)


def test_a_servo_of_the_custom_class_gets_the_limits_that_were_stated():
    ran = run("step", *CUSTOM, "--at", "600 us", "--pulse", "350 us", *SIM)
    assert ran.code == 0
    assert "(custom, 350 to 1700 us)" in ran.err


class Coarse(SimulatedTransport):
    """A board whose pulses go in steps of several us, that lost its settings and failed."""

    tick_ps = 0

    def __init__(self, *arguments):
        super().__init__(*arguments)
        self._outputs.tick_ps = lambda: self.tick_ps
        self._core._reason = table.number_of(table.REASONS, "crash")
        self._core._keeping.settings.source = "damaged"


@by_name
def test_what_a_person_should_know_of_the_board_is_told_once(command, monkeypatch):
    monkeypatch.setattr(Coarse, "tick_ps", 2_441_000)
    monkeypatch.setattr("hingeline.bench.simulated.transport.SimulatedTransport", Coarse)
    ran = run(*command, *SIM)
    assert ran.code in (0, 1)
    for told in ("steps of 2.44 us", "0.22 deg", "cannot be read", "program had failed"):
        assert ran.talk.count(told) == 1, told


@by_name
def test_nothing_moves_on_a_board_that_is_too_coarse(command, monkeypatch):
    monkeypatch.setattr(Coarse, "tick_ps", 19_531_000)
    monkeypatch.setattr("hingeline.bench.simulated.transport.SimulatedTransport", Coarse)
    sent = []
    monkeypatch.setattr("benchboard.pulses.Recorder.pulse", lambda *what: sent.append(what))
    ran = run(*command, *SIM)
    assert ran.code == 6
    assert "steps of 19.53 us" in ran.talk
    assert "Use another board" in ran.talk
    assert sent == []


@given(
    st.integers(300, 2500), st.integers(1, 2200), st.sampled_from([("triangle", 1), ("smooth", 2)])
)
def test_the_shortest_period_is_that_of_the_board(low, way, shape):
    word, number = shape
    assert table.name_of(table.SHAPES, number) == word
    board = motions.shortest_period_ms(way * 1000, word == "smooth", SLEW_US_PER_S)
    assert shortest_period_ms((low, low + way), word) == board


@pytest.mark.parametrize(("shape", "period"), [("smooth", "3.75 s"), ("triangle", "2.5 s")])
def test_the_board_takes_the_shortest_period(shape, period):
    ran = run(
        "sweep", *BARE, *WIDE, "--shape", shape, "--period", period,
        "--port", "sim:", "--yes", "--json",
    )  # fmt: skip
    assert ran.code == 0
    assert ran.figures["period_s"] == float(period.removesuffix(" s"))


def test_once_and_one_pulse_are_said_as_people_say_them():
    swept = run("sweep", *BARE, "--cycles", "1", "--port", "sim:", "--yes")
    assert "will sweep between 1300 and 1700 us, once:" in swept.talk
    held = run("step", *BARE, "--pulse", "1400 us", "--port", "sim:", "--yes")
    assert "will hold 1400 us:" in held.talk

"""Nothing moves unasked: what is wrong is refused first, then the channels are named."""

import pytest

from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.cli import step, sweep
from shared_protocol import table
from tests.cli.running import Terminal, run

MOVING = [
    ["centre", "millrace.toml", "--hold", "1 s"],
    ["sweep", "millrace.toml", "rudder"],
    ["step", "millrace.toml", "rudder", "--pulse", "1400 us"],
    ["calibrate", "millrace.toml", "R1"],
    ["throw", "millrace.toml", "rudder"],
    ["pair", "millrace.toml"],
]
by_name = pytest.mark.parametrize("command", MOVING, ids=[words[0] for words in MOVING])
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
NARROW = ["--channel", "2", "--pulse-class", "narrow"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["sweep", "millrace.toml", "rudder", "--from", "1600 us", "--to", "1400 us"],
            "not below",
        ),
        (["sweep", "millrace.toml", "rudder", "--from", "899 us"], "900 to 2100 us of channel 4"),
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
        (["centre", *NARROW, "--at", "1500 us"], "560, 1500 and 960 us must rise"),
        (["centre", *BARE, "--limits", "400 us", "2000 us"], "500 to 2500 us"),
        (["centre", *BARE, "--limits", "1600 us", "2000 us"], "must rise"),
        (["centre", "millrace.toml", "--channel", "1"], "leave --channel"),
        (["centre", "millrace.toml", "--hold", "-1 s"], "below 0 s"),
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

    options = {p.name: p.type for p in [*sweep.command.params, *step.command.params]}
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

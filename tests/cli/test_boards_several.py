"""Several simulated boards for one model, and boards that must be those that were there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from hingeline.bench.procedures.channels import in_use
from hingeline.bench.simulated.listener import Listener
from hingeline.bench.simulated.station import stations_of
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.cli import benchwork, models
from hingeline.cli.benchwork import at_bench, channels_of
from hingeline.cli.options import Choices
from hingeline.errors import BenchError, Stopped
from hingeline.model.writing import example_text
from hingeline.records.store import Records
from tests.cli.running import run

TWO = ("--port", "sim:", "--port", "sim:", "--yes")


@pytest.fixture
def spread(folder):
    """Plug the right aileron into the second board's channel 1, the rudder into its last."""
    path = folder / "millrace.toml"
    text = path.read_text("utf-8")
    text = re.sub(r"channel = 2\b", "channel = 9", text)
    path.write_text(re.sub(r"channel = 4\b", "channel = 16", text), "utf-8")
    return path


def choices(*ports, yes=True):
    return Choices(ports[0], Path("records.sqlite"), yes, False, ports[1:])


def session(folder, number=1):
    with Records(folder / "records.sqlite") as records:
        return records.session(number)


@pytest.mark.usefixtures("spread")
def test_a_pair_across_two_boards_is_the_pair_on_one(folder):
    across = run("pair", "millrace.toml", *TWO, "--json")
    assert across.code in (0, 1)
    (folder / "millrace.toml").write_text(example_text(), "utf-8")
    alone = run("pair", "millrace.toml", "--port", "sim:", "--yes", "--json")
    assert across.figures == alone.figures  # the same servos, wherever they are plugged in
    told = session(folder)
    assert told["board"] == "0 1"
    assert told["bench"] == "simulated"
    assert session(folder, 2)["board"] == "0"


@pytest.mark.usefixtures("spread")
def test_every_moving_command_works_across_boards():
    for words in (
        ["centre", "millrace.toml", "--hold", "1 s"],
        [
            "sweep",
            "millrace.toml",
            "left aileron",
            "rudder",
            "--from",
            "1400 us",
            "--to",
            "1600 us",
        ],
        ["step", "millrace.toml", "rudder", "elevator", "--pulse", "1450 us", "--lag", "0.2 s"],
        ["calibrate", "millrace.toml", "R1", "--quick"],
        ["deadband", "millrace.toml", "R1"],
        ["listen", "millrace.toml", "R1", "--hold", "0.5 s"],
        ["throw", "millrace.toml"],
    ):
        ran = run(*words, *TWO)
        assert ran.code in (0, 1), ran.err
        assert "On sim:, sim:, these channels will" in ran.talk


@pytest.mark.usefixtures("spread")
def test_too_few_boards_are_said_with_the_mend():
    ran = run("throw", "millrace.toml", "right aileron", "--port", "sim:", "--yes")
    assert ran.code == 6
    assert "there is no channel 9: this board has 8" in ran.talk
    assert "name a further board with another --port" in ran.talk


def test_ports_may_stand_in_the_environment(spread, monkeypatch):
    del spread
    monkeypatch.setenv("HINGELINE_PORT", "sim: sim:")
    assert run("centre", "millrace.toml", "--hold", "0.1 s", "--yes").code == 0


@pytest.mark.parametrize(
    ("ports", "said"),
    [
        (["sim:", "/dev/ttyACM0"], "real and simulated boards cannot work together"),
        (["sim:"] * 5, "5 boards are named; a bench has at most 4"),
        (["sim:", "sim:x"], "'sim:x' is no simulated bench"),
        (["/dev/ttyACM0", "/dev/ttyACM0"], "/dev/ttyACM0 is named twice"),
    ],
)
def test_ports_that_make_no_bench_are_refused_before_anyone_is_asked(ports, said, folder):
    named = [word for port in ports for word in ("--port", port)]
    ran = run("centre", "millrace.toml", *named)
    assert ran.code == 6
    assert said in ran.talk
    assert "channels will" not in ran.talk
    assert not (folder / "records.sqlite").exists()


@pytest.fixture
def sent(monkeypatch):
    """Note what the firmware of any simulated board is sent."""
    lines = []
    write = SimulatedTransport.write
    monkeypatch.setattr(
        SimulatedTransport, "write", lambda self, data: (lines.append(data), write(self, data))[1]
    )
    return lines


@pytest.mark.parametrize(
    ("wanted", "ports", "said"),
    [
        (("10", "20"), ("sim:2", "sim:1"), "another order: 20 10 instead of 10 20"),
        (("10", "20"), ("sim:1", "sim:3"), "other boards: 10 30 instead of 10 20"),
        (("10", "20"), ("sim:1",), "other boards: 10 instead of 10 20"),
        (("10",), ("sim:1", "sim:2"), "other boards: 10 20 instead of 10"),
    ],
)
def test_other_boards_or_another_order_are_refused_before_anything_moves(
    wanted, ports, said, folder, sent
):
    file = models.load(folder / "millrace.toml")
    channels = channels_of(file, file.model.surfaces)
    with (
        pytest.raises(BenchError, match=re.escape(said)) as caught,
        at_bench(choices(*ports), "rig", channels, file, doing="move", boards=wanted),
    ):
        pytest.fail("it was opened")
    assert "Nothing was moved" in caught.value.message
    assert not [line for line in sent if b" setup " in line or b" frame " in line]
    with Records(folder / "records.sqlite") as records:
        assert records.sessions() == []


def test_the_boards_that_were_there_are_taken_and_kept(folder):
    file = models.load(folder / "millrace.toml")
    channels = channels_of(file, file.model.surfaces)
    again = ("10", "20")
    with at_bench(
        choices("sim:1", "sim:2"), "rig", channels, file, doing="move", boards=again, rig=0
    ) as bench:
        assert bench.boards == again
        number = bench.session_id
    assert session(folder, number)["board"] == "10 20"
    with Records(folder / "records.sqlite") as records:
        assert records.session(number)["rig"] == number


def test_who_and_what_stands_at_the_bench_may_be_given(folder):
    file = models.load(folder / "millrace.toml")
    channels = channels_of(file, file.model.surfaces)
    made = []

    def standing(model, seed):
        made.append((model.name, seed))
        return stations_of(model, seed + 1)

    class Other(Listener):
        pass

    with at_bench(
        choices("sim:7"),
        "throw",
        channels,
        file,
        doing="move",
        asker=Other,
        stations=standing,
    ) as bench:
        assert made == [("Millrace", 7)]
        assert type(bench.asker) is Other
        assert sorted(bench.stations) == [1, 2, 3, 4]


def test_leave_is_asked_again_after_a_break_even_with_yes(folder, sent, monkeypatch):
    file = models.load(folder / "millrace.toml")
    channels = channels_of(file, file.model.surfaces)
    entering = {"doing": "move", "ask": True}
    with (
        pytest.raises(BenchError, match="nobody can be asked here"),
        at_bench(choices("sim:"), "rig", channels, file, **entering),
    ):
        pytest.fail("it was opened")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(benchwork, "confirmed", lambda _text: False)
    with pytest.raises(Stopped), at_bench(choices("sim:"), "rig", channels, file, **entering):
        pytest.fail("it was opened")
    assert sent == []
    with at_bench(choices("sim:", yes=False), "rig", channels, file, doing="move", ask=False):
        pass


def test_plugs_exchanged_between_two_boards_are_exchanged_at_the_servos(spread):
    file = models.load(spread)
    channels = channels_of(file, file.model.surfaces[:2])
    with (
        at_bench(choices("sim:", "sim:"), "centre", channels, file, doing="move") as bench,
        in_use(bench.board, channels),
    ):
        left, right = bench.stations[1], bench.stations[9]
        bench.board.centre([1, 9])
        bench.board.wait(1.0)
        bench.stations[1], bench.stations[9] = right, left
        stood = left.servo.shaft_deg, right.servo.shaft_deg
        bench.board.hold({1: 1700})
        bench.board.wait(0.5)
        assert abs(left.servo.shaft_deg - stood[0]) < 1
        assert abs(right.servo.shaft_deg - stood[1]) > 10

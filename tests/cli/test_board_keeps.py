"""``board settings`` and ``board selftest`` as a user gives them."""

import pytest

from hingeline.bench import keeping
from hingeline.bench.simulated.transport import SimulatedTransport
from tests.cli.running import Terminal, run

SETTINGS = ("board", "settings", "--port", "sim:")
SELFTEST = ("board", "selftest", "--port", "sim:")


@pytest.fixture
def one_board(monkeypatch):
    """Let every command of a test meet the same simulated board."""
    line = SimulatedTransport({})
    monkeypatch.setattr(
        "hingeline.bench.simulated.transport.SimulatedTransport", lambda *_arguments: line
    )
    return line


def test_what_a_new_board_does_is_shown_and_nothing_is_asked():
    figures = run(*SETTINGS, "--json").figures
    assert figures["source"] == "usual"
    assert (figures["frame_hz"], figures["hold_s"], figures["off_s"]) == (50, 1.5, 4.0)
    assert (figures["knob"], figures["rail_low_v"]) == (False, 0.0)
    assert [row["channel"] for row in figures["channels"]] == list(range(1, 9))
    first = figures["channels"][0]
    assert (first["pulse_class"], first["centre_us"]) == ("standard", 1500)
    # What a --channel gets without a --rate is what the board's own usual channels have.
    assert first["slew_us_per_s"] == keeping.USUAL_SLEW_US_PER_S
    text = run(*SETTINGS).out
    assert "the usual ones; nothing was kept" in text
    assert all(len(line) < 80 for line in text.splitlines())


def test_settings_are_kept_as_they_were_said(one_board):
    del one_board
    whole = ["--hold", "2 s", "--off", "6 s", "--period", "3 s", "--shape", "triangle", "--knob"]
    rail = ["--rail-full", "9.9 V", "--rail-low", "4.5 V"]
    changed = run(*SETTINGS, *whole, *rail, "--yes", "--json")
    shown = run(*SETTINGS, "--json").figures
    assert changed.figures == shown
    assert shown["source"] == "kept"
    assert [shown[key] for key in ("hold_s", "off_s", "period_s", "shape", "knob")] == [
        2.0,
        6.0,
        3.0,
        "triangle",
        True,
    ]
    assert (shown["rail_full_v"], shown["rail_low_v"]) == (9.9, 4.5)
    run(*SETTINGS, "--no-knob", "--rail-low", "0 V", "--yes")
    again = run(*SETTINGS, "--json").figures
    assert (again["knob"], again["rail_low_v"], again["rail_full_v"]) == (False, 0.0, 9.9)
    assert run(*SETTINGS, "--usual", "--yes", "--json").figures["source"] == "usual"


def test_channels_are_kept_as_they_were_said(one_board):
    del one_board
    run(*SETTINGS, "--channel", "2", "--pulse-class", "narrow", "--rate", "300 us/s", "--yes")
    run(*SETTINGS, "--leave-alone", "7", "--leave-alone", "8", "--yes")
    rows = run(*SETTINGS, "--json").figures["channels"]
    assert rows[1] == {
        "channel": 2,
        "pulse_class": "narrow",
        "limits_us": [560, 960],
        "centre_us": 760,
        "slew_us_per_s": 300,
    }
    assert rows[6:] == [{"channel": n, "pulse_class": None} for n in (7, 8)]
    assert rows[0]["pulse_class"] == "standard"
    text = run(*SETTINGS).out
    assert "left alone" in text
    assert "300 us/s" in text


def test_a_model_file_says_what_every_channel_does(one_board, folder):
    del one_board
    text = (folder / "millrace.toml").read_text()
    (folder / "two.toml").write_text(text.replace('"2100 us"]', '"2050 us"]'))
    rows = run(*SETTINGS, "--from", "two.toml", "--yes", "--json").figures["channels"]
    assert [row["pulse_class"] for row in rows] == ["standard"] * 4 + [None] * 4
    assert all(row["limits_us"] == [900, 2050] for row in rows[:4])


def test_frames_and_limits_that_only_suit_together_are_kept_in_one_go(one_board):
    del one_board
    long = ["--channel", "1", "--pulse-class", "standard", "--limits", "900 us", "2400 us"]
    short = ["--channel", "1", "--pulse-class", "standard", "--limits", "900 us", "2000 us"]
    fast = ["--frame-rate", "333 Hz", "--digital"]
    assert run(*SETTINGS, *long, "--yes").code == 0
    assert run(*SETTINGS, *fast, "--yes").code == 6
    assert run(*SETTINGS, *short, *fast, "--yes").code == 0
    assert run(*SETTINGS, *long, "--yes").code == 6
    assert run(*SETTINGS, *long, "--frame-rate", "50 Hz", "--yes").code == 0
    figures = run(*SETTINGS, "--json").figures
    assert (figures["frame_hz"], figures["channels"][0]["limits_us"]) == (50, [900, 2400])


def test_what_will_be_kept_is_said_and_asked(one_board):
    refused = run(*SETTINGS, "--leave-alone", "3", typed=["y"])
    assert refused.code == 6
    assert "channel 3: the button leaves it alone" in refused.talk
    assert "nothing was changed: nobody can be asked here" in refused.talk
    assert one_board._core._keeping.settings.source == "usual"
    for answer, code in (("n", 130), ("y", 0)):
        with Terminal(*SETTINGS, "--leave-alone", "3") as terminal:
            before = terminal.until("Go on? [y/N]:")
            terminal.type(answer)
            ran = terminal.ended()
        assert "channel 3: the button leaves it alone" in before
        assert "simulated bench forgets it" in before.replace("\r\n", " ")
        assert ran.code == code
        assert ("nothing was changed" in ran.err) is (answer == "n")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--frame-rate", "200 Hz"], "needs --digital"),
        (["--frame-rate", "400 Hz", "--digital"], "not in 50 to 333 Hz"),
        (["--digital"], "--digital allows a higher --frame-rate"),
        (["--digital", "--knob"], "--digital allows a higher --frame-rate"),
        (["--hold", "0.5 s"], "not in 1 to 10 s"),
        (["--rail-low", "4.5"], "has no unit"),
        (["--rate", "500 us/s"], "Name the --channel"),
        (["--pulse-class", "narrow"], "Name the --channel"),
        (["--channel", "1"], "State the --pulse-class"),
        (["--channel", "1", "--pulse-class", "custom"], "state --limits and --at"),
        (["--channel", "1", "--pulse-class", "narrow", "--at", "1500 us"], "outside 300 to 1100"),
        (
            ["--channel", "1", "--pulse-class", "narrow", "--leave-alone", "1"],
            "Name channel 1 once",
        ),
        (["--from", "millrace.toml", "--leave-alone", "1"], "leave the others out"),
        (["--from", "millrace.toml", "--at", "1500 us"], "Name the --channel"),
    ],
)
def test_what_is_wrong_in_itself_is_refused_before_a_board_is_opened(arguments, message):
    ran = run("board", "settings", "--port", "/nowhere", *arguments, "--yes")
    assert ran.code == 2
    assert message in ran.talk


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--rail-low", "4.5 V"], ["without a supply divider", '--rail-full "9.9 V"']),
        (["--rail-low", "5 V", "--rail-full", "5 V"], ["less than 5 V", "Correct --rail-low or"]),
        (["--hold", "4 s"], ["4 s, must be more than 4 s", "Correct --off or --hold"]),
        (["--hold", "2 s", "--off", "2 s"], ["must be more than 2 s", "Correct --off or --hold"]),
    ],
)
def test_what_the_board_refuses_is_told_by_the_options_to_correct(arguments, told):
    ran = run(*SETTINGS, *arguments, "--yes")
    assert ran.code == 6
    for text in [*told, "Nothing was changed."]:
        assert text in ran.talk
    assert "Not all of this" not in ran.talk


def test_that_a_part_was_kept_is_told_only_when_it_was(one_board):
    del one_board
    ran = run(*SETTINGS, "--leave-alone", "3", "--rail-low", "4.5 V", "--yes")
    assert ran.code == 6
    assert "Not all of this is kept now" in ran.talk
    assert "Nothing was changed" not in ran.talk
    figures = run(*SETTINGS, "--json").figures
    assert (figures["channels"][2]["pulse_class"], figures["rail_low_v"]) == (None, 0.0)


# -- frames of servos that are not made for them -----------------------------------------


@pytest.fixture
def fast_board(one_board):
    """Let the board keep 200 frames per second, for short pulses."""
    assert run(*SETTINGS, "--frame-rate", "200 Hz", "--digital", "--yes").code == 0
    return one_board


def digital(folder, *labels, rate=""):
    text = (folder / "millrace.toml").read_text()
    for label in labels:
        text = text.replace(f"[servos.{label}]", f"[servos.{label}]\ndigital = true{rate}")
    (folder / "digital.toml").write_text(text)
    return ["--from", "digital.toml"]


def test_a_model_with_a_common_servo_is_not_kept_on_a_board_of_many_frames(fast_board, folder):
    del fast_board
    before = run(*SETTINGS, "--json").figures
    ran = run(*SETTINGS, *digital(folder, "A1", "A2", "E1"), "--yes")
    assert ran.code == 6
    assert "servo R1 on channel 4, which is not said to be digital" in ran.talk
    assert '--frame-rate "50 Hz"' in ran.talk
    assert "write digital = true for R1 in digital.toml" in ran.talk
    assert "will be kept" not in ran.talk
    assert run(*SETTINGS, "--json").figures == before
    # Each of the two mends that are named is one.
    assert run(*SETTINGS, *digital(folder, "A1"), "--frame-rate", "50 Hz", "--yes").code == 0
    run(*SETTINGS, "--frame-rate", "200 Hz", "--digital", "--yes")
    kept = run(*SETTINGS, *digital(folder, "A1", "A2", "E1", "R1"), "--yes", "--json")
    assert (kept.code, kept.figures["frame_hz"]) == (0, 200)
    assert run(*SETTINGS, "--usual", "--from", "millrace.toml", "--yes").code == 0


def test_a_file_that_says_otherwise_is_not_overruled(one_board, folder):
    del one_board
    fast = ["--frame-rate", "300 Hz", "--digital", "--yes"]
    ran = run(*SETTINGS, *digital(folder, "A1"), *fast)
    assert ran.code == 6
    assert "servo A2 on channel 2, which is not said to be digital" in ran.talk
    slow = digital(folder, "A1", "A2", "E1", "R1", rate='\nframe_rate = "200 Hz"')
    ran = run(*SETTINGS, *slow, *fast)
    assert ran.code == 6
    assert "servo A1 on channel 1, which takes 200 Hz at most" in ran.talk
    fast[1] = "200 Hz"
    assert run(*SETTINGS, *slow, *fast).code == 0


def test_a_channel_is_not_kept_unsaid_on_a_board_of_many_frames(fast_board):
    del fast_board
    one = ["--channel", "2", "--pulse-class", "standard"]
    ran = run(*SETTINGS, *one, "--yes")
    assert ran.code == 6
    assert "the servo on channel 2, which is not said to be digital" in ran.talk
    assert '--frame-rate "200 Hz" --digital' in ran.talk
    assert run(*SETTINGS, *one, "--frame-rate", "200 Hz", "--digital", "--yes").code == 0
    assert run(*SETTINGS, "--leave-alone", "2", "--yes").code == 0
    assert run(*SETTINGS, "--knob", "--yes").code == 0
    assert run(*SETTINGS, *one, "--frame-rate", "50 Hz", "--yes").code == 0


def test_what_usual_means_is_said_and_true():
    ran = run(*SETTINGS, "--usual", "--yes", "--json")
    rows = ran.figures["channels"]
    assert {row["pulse_class"] for row in rows} == {"standard"}
    ((low, high),) = {tuple(row["limits_us"]) for row in rows}
    (centre,) = {row["centre_us"] for row in rows}
    said = f"every channel as a standard servo, {low} to {high} us, centre {centre} us"
    assert said in ran.talk
    assert said in " ".join(run("board", "settings", "--help").out.split())


def test_damaged_settings_are_shown_as_such(one_board):
    one_board._core._keeping.settings.source = "damaged"
    ran = run(*SETTINGS)
    assert "WHAT WAS KEPT CANNOT BE READ" in " ".join(ran.out.split())
    assert "hingeline board settings --from MODEL" in ran.out
    assert "hingeline board settings --usual" in ran.out
    assert ran.out.index("--from MODEL") < ran.out.index("--usual")
    assert all(len(line) < 80 for line in ran.out.splitlines())
    assert run(*SETTINGS, "--json").figures["source"] == "damaged"
    run(*SETTINGS, "--usual", "--yes")
    assert run(*SETTINGS, "--json").figures["source"] == "usual"


# -- the self-test ------------------------------------------------------------------------


def test_a_sound_board_passes_and_gives_its_figures():
    ran = run(*SELFTEST, "--yes", "--json")
    assert ran.code == 0
    (row,) = ran.figures["channels"]
    assert ran.figures["simulated"] is True
    assert (row["channel"], row["pass"], row["seen"]) == (1, True, True)
    assert row["allowed_us"] == pytest.approx(0.3055 / 2 + 0.016, abs=0.0002)
    assert [width["pulse_us"] for width in row["widths"]] == [500, 1000, 1500, 2000, 2500]
    assert all(width["readings"] == 20 for width in row["widths"])
    text = run(*SELFTEST, "--yes").out
    assert "PASS: channel 1" in text
    assert "The bench is simulated: nothing real was measured." in text
    assert all(len(line) < 80 for line in text.splitlines())


@pytest.mark.parametrize(
    ("options", "channels"),
    [
        (["--channel", "3"], [3]),
        (["--channel", "3", "--channel", "1", "--channel", "3"], [1, 3]),
        (["--all"], list(range(1, 9))),
    ],
)
def test_the_channels_named_are_measured(options, channels):
    figures = run(*SELFTEST, *options, "--yes", "--json").figures
    assert [row["channel"] for row in figures["channels"]] == channels


def test_it_says_what_gives_pulses_and_asks_first(one_board):
    refused = run(*SELFTEST, "--channel", "2", typed=["y"])
    assert refused.code == 6
    assert "channel 2 will give pulses of 500 to 2500 us. Pull the servo off" in refused.talk
    assert "nothing was sent: nobody can be asked here" in refused.talk
    assert one_board._core.bank.channels[1].pulse_class == 0
    assert run(*SELFTEST, "--all", "--channel", "2").code == 2


def test_without_the_wire_it_fails_and_says_what_to_join(one_board):
    one_board._core._commands.fittings.measure = lambda: 0
    ran = run(*SELFTEST, "--yes")
    assert ran.code == 1
    assert "no pulse of 500 us was seen" in ran.out
    assert "Join the servo pin of channel 1 and the measuring pin by a wire" in " ".join(
        ran.out.split()
    )
    figures = run(*SELFTEST, "--yes", "--json").figures
    assert figures["pass"] is False
    assert figures["channels"][0]["widths"] == []


def test_a_wrong_width_fails(one_board):
    fittings = one_board._core._commands.fittings
    real = fittings.measure
    fittings.measure = lambda: real() + 300
    ran = run(*SELFTEST, "--yes")
    assert ran.code == 1
    assert "FAIL: channel 1 is at most 0.39" in ran.out

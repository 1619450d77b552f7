"""``centre --still``: a pulse that does not change, and what moved all the same."""

import pytest

from hingeline.bench.simulated.transport import SimulatedTransport
from tests.cli.running import Terminal, run

STILL = ("centre", "millrace.toml", "left aileron", "rudder", "--still", "20 s")
SIM = ("--port", "sim:", "--yes")


def test_modelled_servos_keep_still():
    ran = run(*STILL, "--json", *SIM)
    assert ran.code == 0
    assert ran.figures["still"] == {"time_s": 20.0, "moved": []}
    assert [row["held_us"] for row in ran.figures["channels"]] == [1500.0, 1500.0]
    assert "Look and listen" in ran.err
    assert "All kept still for 20 s." in run(*STILL, *SIM).out


def test_the_pulse_goes_out_unchanged_all_the_time(monkeypatch):
    seen = []
    real = SimulatedTransport._pass

    def passed(transport, seconds):
        real(transport, seconds)
        seen.append((transport.now_s(), tuple(transport.pulses_us)))

    monkeypatch.setattr(SimulatedTransport, "_pass", passed)
    run(*STILL, *SIM)
    both = [at for at, pulses in seen if pulses[0] and pulses[3]]
    assert both[-1] - both[0] > 19.5  # seen in steps of a beat
    during = {pulses for at, pulses in seen if both[0] <= at <= both[-1]}
    assert during == {(1500, 0, 0, 1500, 0, 0, 0, 0)}


@pytest.mark.parametrize(
    ("typed", "moved"), [(["y", "n"], [1]), (["n", "y"], [4]), (["maybe", "", "y", "y"], [1, 4])]
)
def test_what_was_seen_to_move_is_told_with_where_to_look(typed, moved):
    with Terminal(*STILL, "--port", "sim:", "--by-hand") as terminal:
        terminal.until("Go on? [y/N]:")
        terminal.type("y")
        terminal.until("Did channel 1 (A1, left aileron) twitch, buzz or creep?")
        for line in typed:
            terminal.until("[y/n]:")
            terminal.type(line)
        ran = terminal.ended()
    assert ran.code == 1
    named = ", ".join(map(str, moved))
    assert f"NOT STILL: channel {named}." in ran.out
    places = ["1. Ground:", "2. Supply:", "3. Signal:", "4. Wires:"]
    assert [ran.out.index(place) for place in places] == sorted(map(ran.out.index, places))
    assert "no setting cures it" in ran.out


def test_a_count_down_is_shown_on_a_terminal():
    with Terminal(*STILL, *SIM) as terminal:
        shown = terminal.until("Keeping still: 1 s left")
        terminal.ended()
    assert "Keeping still: 20 s left" in shown
    assert "Keeping still: 11 s left" in shown
    assert "Keeping still" not in run(*STILL, *SIM).err  # nor anywhere else

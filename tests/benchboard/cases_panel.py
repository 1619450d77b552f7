# These cases run under MicroPython too.
from benchboard.fittings import FULL
from benchboard.panel import CENTRE, KNOB, LIGHTS, OFF, SWEEP, Button, Knob, Light
from benchboard.settings import NO_CHANNEL, USUAL, USUAL_CHANNEL, Settings, damaged
from tests.support.cases import equal, run
from tests.support.core_bench import CLOCK, NOTHING, US, Bench, Fitted, steps_of
from tests.support.core_bench import SWEEP as MOTION
from tests.support.panel_bench import NARROW, pattern, ready, settings_of, shows


def a_person_without_a_computer_centres_sweeps_and_stops():
    bench = ready()
    equal((bench.pulses(), bench.outputs.log, bench.core.panel.state), (NOTHING, [], OFF))
    bench.press()
    equal(bench.core.panel.state, CENTRE)
    bench.run(600)
    equal(bench.pulses(), [1500] * 8)
    starts = [at for at, _, _ in bench.outputs.log]
    gaps = [starts[n + 1] - starts[n] for n in range(7)]
    equal(min(gaps) >= 70000, True)  # 50 ms apart at the pins, each up to a frame later
    bench.outputs.logging = False
    bench.press()
    equal(bench.core.panel.state, SWEEP)
    bench.run(1000)
    equal(bench.pulses(), [1000] * 8)  # 500 us at 500 us per second: the sweep begins now
    bench.run(3000)
    equal(bench.pulses()[0] >= 1990, True)
    bench.run(3000)
    equal(bench.pulses()[0] <= 1010, True)
    bench.press()
    equal(bench.core.panel.state, CENTRE)  # no knob
    bench.run(1100)
    equal(bench.pulses(), [1500] * 8)
    bench.fitted.down = True
    bench.run(1019)
    equal(bench.pulses(), [1500] * 8)
    bench.run(2)  # while it is still held
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    bench.run(25)
    equal(bench.outputs.released, [True] * 8)
    bench.run(2000)
    bench.fitted.down = False
    bench.run(500)
    equal(bench.pulses(), NOTHING)  # letting go does nothing more
    bench.press()
    bench.run(600)
    equal(bench.pulses(), [1500] * 8)


def bounces_are_one_press():
    button = Button()
    said = [button.advance(1, False) for _ in range(30)]
    for n in range(60):  # bounces for 60 ms at most 9 ms long
        said.append(button.advance(1, n % 10 != 0))
    said += [button.advance(1, True) for _ in range(200)]
    for n in range(60):
        said.append(button.advance(1, n % 10 == 0))
    said += [button.advance(1, False) for _ in range(100)]
    equal([n for n in said if n], [1, 2])
    # a spike is none, and neither is one look after a stall
    equal([button.advance(1, n < 19) for n in range(60)], [0] * 60)
    equal((button.advance(500, True), button.advance(1, False)), (0, 0))
    # held long: once, and its end says nothing
    said = [button.advance(1, True) for _ in range(3000)]
    equal([(n, said[n]) for n in range(3000) if said[n]], [(19, 1), (1019, 3)])
    equal([button.advance(1, False) for _ in range(100)], [0] * 100)


def a_button_that_is_down_at_the_start_does_nothing_until_released():
    for ms in (3000, 500):
        bench = Bench()
        bench.fitted.down = True
        bench.run(ms)
        equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
        bench.fitted.down = False
        bench.run(100)
        equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    bench.press()
    bench.run(100)
    equal(bench.core.panel.state, CENTRE)


def every_channel_moves_between_its_own_limits():
    other = dict(USUAL_CHANNEL, low_ns=1200 * US, centre_ns=1400 * US)
    bench = ready(settings=settings_of(NARROW, other, shape=1, knob=1))
    bench.press()
    bench.run(300)
    equal(bench.pulses(), [760, 1400] + [0] * 6)
    bench.press()
    bench.run(15000, 5000)
    for ch, low, high in ((1, 460, 1060), (2, 1200, 2000)):
        pulses = steps_of(bench.outputs.log, ch)
        equal((ch, min(pulses) // US, (max(pulses) + 999) // US), (ch, low, high))
    bench.fitted.turned = FULL
    bench.press()
    equal(bench.core.panel.state, KNOB)
    # The ends exactly; between them the knob's noise is allowed 128 of 65535, and a quarter of its
    # way is a little less than a quarter of the servo's for the sake of the ends.
    for turned, wanted, slack in (
        (FULL, [1060, 2000], 0),
        (FULL // 2, [760, 1400], 3),
        (0, [460, 1200], 0),
        (FULL // 4, [610, 1300], 5),
    ):
        bench.fitted.turned = turned
        bench.run(4000)
        for got, pulse in zip(bench.pulses(), wanted):  # noqa: B905
            equal((turned, abs(got - pulse) <= slack, got), (turned, True, got))
    bench.press()
    equal(bench.core.panel.state, CENTRE)


def a_sweep_is_stretched_when_the_slew_cannot_follow():
    # 1000 us smooth at 100 us per second: 30 s there and back instead of 2
    slow = dict(USUAL_CHANNEL, slew_ns_per_ms=100)
    bench = ready(
        settings=settings_of(slow, dict(USUAL_CHANNEL, low_ns=1400 * US), period_ms=2000)
    )
    bench.press()
    bench.run(200)
    bench.press()
    bench.run(5000)
    equal(bench.pulses()[:2], [1000, 1400])
    bench.run(15000, 10000)
    equal([pulse >= 1995 for pulse in bench.pulses()[:2]], [True, True])
    bench.run(15000, 10000)
    equal((bench.pulses()[0] <= 1005, bench.pulses()[1] <= 1405), (True, True))
    log = [(at, pulse) for at, ch, pulse in bench.outputs.log if ch == 1]
    for n in range(1, len(log)):
        equal(abs(log[n][1] - log[n - 1][1]) <= (log[n][0] - log[n - 1][0]) // 1000 * 100, True)


def a_press_before_all_have_started_goes_on_in_order():
    quick = dict(USUAL_CHANNEL, slew_ns_per_ms=5000)
    bench = ready(settings=Settings(USUAL, [quick] * 8, "kept"))
    bench.press()
    bench.press()
    equal(bench.core.panel.state, SWEEP)
    bench.run(3000)
    starts = {}
    for at, ch, _ in bench.outputs.log:
        starts.setdefault(ch, at)
    order = sorted(starts.values())
    equal(min([order[n + 1] - order[n] for n in range(7)]) >= 70000, True)
    equal(len(set(bench.outputs.pulses_ns)), 1)  # all keep one time
    # and those that were not on yet begin where the sweep does
    firsts = [steps_of(bench.outputs.log, ch)[0] // US for ch in range(1, 9)]
    equal(firsts, [1500] * 2 + [1000] * 6)


def a_resting_knob_gives_a_resting_pulse():
    bench = ready(settings=settings_of(knob=1))
    for _ in range(3):
        bench.press()
        bench.run(1100)
    equal(bench.core.panel.state, KNOB)
    for turned in (30000, 41234, 900):
        seed = 1
        for n in range(5000):
            if n == 3000:
                bench.outputs.log = []
            # 16 steps of a converter of 12 bits either way
            seed = (seed * 1103515245 + 12345) & 0x7FFFFFFF  # the C standard's example
            bench.fitted.turned = turned + (seed >> 16) % 513 - 256
            bench.run(1)
        equal((turned, bench.outputs.log), (turned, []))
    # and one that is turned is followed, at the slew
    bench.outputs.log = []
    bench.fitted.turned = FULL
    bench.run(3000)
    pulses = steps_of(bench.outputs.log, 1)
    equal(pulses[-1], 2000 * US)
    equal(max([pulses[n + 1] - pulses[n] for n in range(len(pulses) - 1)]) <= 500, True)


def a_knob_reaches_both_ends_and_its_middle():
    fitted = Fitted()
    knob = Knob(fitted)
    for turned, position in ((0, 0), (400, 0), (FULL // 2, 16384), (FULL - 400, 32768)):
        fitted.turned = turned
        knob.begin()
        slack = 2 if turned == FULL // 2 else 0
        equal((turned, abs(knob.position - position) <= slack), (turned, True))


def a_board_without_a_pin_for_a_knob_has_none_whatever_its_settings_say():
    bench = ready(settings=settings_of(knob=1))
    bench.fitted.has_knob = False
    for state in (CENTRE, SWEEP, CENTRE):
        bench.press()
        equal(bench.core.panel.state, state)


def the_light_tells_the_states_apart():
    bench = ready(settings=settings_of(knob=1))
    shows(bench, "resting")
    for name in ("centre", "sweep", "knob", "centre"):
        bench.press()
        shows(bench, name)
    bench.press(1100)
    shows(bench, "resting")
    bench.ask("hello")
    bench.get("silence", hold_ms=10000, off_ms=60000)
    shows(bench, "computer")
    bench.get("quit")
    shows(bench, "resting")
    shown = []
    for name, turn, text in LIGHTS:
        equal((name, bool(text), len(turn) % 2), (name, True, 0))
        shown.append(turn)
        if len(pattern(name)) > 1:  # at most five flashes a second
            equal((name, len(turn) * 500 <= 5 * sum(turn)), (name, True))
    equal(len(set(shown)), len(LIGHTS))


def a_new_pattern_begins_at_once_and_at_its_beginning():
    fitted = Fitted()
    light = Light(fitted)
    light.advance(1, 0)
    equal(fitted.lit, True)
    light.advance(100, 0)
    equal(fitted.lit, False)
    for ms, lit in ((1, True), (199, True), (1, False), (199, False), (1, True), (200, False)):
        light.advance(ms, SWEEP)
        equal((ms, fitted.lit), (ms, lit))
    light.advance(500000, SWEEP)  # after a stall it goes on


def a_fault_of_the_last_start_is_shown_until_somebody_comes():
    for reason in ("crash", "watchdog", "pins"):
        bench = ready(reason=reason)
        shows(bench, "fault")
        bench.press()
        shows(bench, "resting")
        bench.press()
        shows(bench, "centre")
        bench = ready(reason=reason)
        bench.ask("hello")
        bench.get("quit")
        shows(bench, "resting")
    shows(ready(reason="power"), "resting")


def with_damaged_settings_the_button_moves_nothing():
    # the servo may be one that the usual pulses would harm
    bench = ready(settings=damaged())
    for _ in range(2):
        shows(bench, "fault")
        bench.press()
    equal((bench.pulses(), bench.outputs.log), (NOTHING, []))
    equal(bench.get("hello")["settings"], 2)
    bench.get("usual")
    bench.get("quit")
    bench.press()
    bench.run(100)
    equal(bench.pulses()[0], 1500)


def what_is_said_of_one_thing_after_damage_moves_nothing_else():
    bench = ready(settings=damaged())
    bench.ask("hello")
    bench.get("change", knob=1)
    bench.get("quit")
    bench.press()
    bench.run(600)
    equal(bench.pulses(), NOTHING)
    bench.ask("hello")
    narrow = {"low_ns": 460 * US, "high_ns": 1060 * US, "centre_ns": 760 * US}
    bench.get("keep", ch=2, klass=2, slew_ns_per_ms=300, **narrow)
    bench.get("quit")
    bench.press()
    bench.run(600)
    equal(bench.pulses(), [0, 760] + [0] * 6)


def a_press_after_a_fault_only_takes_note_of_it():
    for reason in ("crash", "watchdog"):
        bench = ready(reason=reason)
        shows(bench, "fault")
        bench.press()
        bench.run(600)
        equal(bench.pulses(), NOTHING)
        shows(bench, "resting")
        bench.press()
        bench.run(100)
        equal(bench.pulses()[0], 1500)


def with_no_channel_for_the_button_it_moves_nothing_and_says_so():
    bench = ready(settings=settings_of(NO_CHANNEL))
    shows(bench, "resting")
    bench.press()
    shows(bench, "fault")
    equal((bench.pulses(), bench.outputs.log), (NOTHING, []))
    bench.press(1100)
    shows(bench, "resting")


def what_a_computer_set_up_does_not_outlast_the_press():
    # else a rate kept for the button could be too quick for a servo set up by the computer
    bench = ready(settings=settings_of(frame_hz=333))
    bench.setup((2,), high=1900)
    bench.get("frame", frame_hz=50)
    bench.get("setup", ch=3, klass=1, low_ns=900 * US, high_ns=2500 * US, centre_ns=1500 * US,
              slew_ns_per_ms=1000)  # fmt: skip
    bench.get("quit")
    equal(bench.outputs.frame_hz, 50)
    bench.press()
    bench.run(300)
    equal((bench.pulses(), bench.outputs.frame_hz), ([1500] + [0] * 7, 333))
    bench.get("hello")
    equal([bench.get("state", ch=ch)["class"] for ch in (1, 2, 3)], [1, 0, 0])
    equal(bench.get("state", ch=1)["on"], 1)


def while_a_computer_has_the_word_a_press_stops_all_pulses():
    bench = ready().setup((1, 2))
    bench.get("sweep", **MOTION)
    bench.alive(500)
    bench.fitted.down = True
    bench.run(19)
    equal(0 in bench.pulses()[:2], False)
    bench.run(2)  # at the press, not at its end
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    bench.run(2000)
    bench.fitted.down = False
    bench.run(100)
    equal(bench.pulses(), NOTHING)
    equal(bench.get("beat")["guard"], 4)
    equal(bench.get("beat")["guard"], 0)
    bench.get("centre", mask=1)  # the computer still has the word
    bench.run(100)
    equal(bench.pulses()[0], 1500)
    bench.get("off", mask=1)
    bench.press()
    equal(bench.get("beat")["guard"], 0)  # nothing was on: nothing happened
    bench.fitted.down = True
    bench.run(50)
    bench.get("quit")
    bench.fitted.down = False
    bench.run(100)
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))  # pressed for the computer


def a_press_takes_the_word_from_a_computer_that_went_silent():
    bench = ready().setup((1, 2))
    bench.get("sweep", **MOTION)
    bench.run(3000)
    bench.press()  # still only held: this stops
    bench.run(1500)
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    bench.press()
    equal(bench.core.panel.state, CENTRE)
    bench.run(600)
    equal(bench.pulses(), [1500] * 8)
    equal(bench.no("beat")[0], "wrong_token")
    bench.run(20000)  # no computer, no silence
    equal(bench.pulses(), [1500] * 8)


def a_computer_that_comes_back_in_time_keeps_the_word():
    bench = ready().setup((1,))
    bench.get("centre", mask=1)
    bench.run(6000)
    equal(bench.pulses(), NOTHING)
    equal(bench.get("beat")["guard"], 2)
    bench.get("centre", mask=1)
    bench.run(100)
    bench.press()
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    equal(bench.get("beat")["guard"], 4)


def a_computer_takes_the_word_back_and_the_panel_stops():
    for presses in (1, 2, 3):
        bench = ready(settings=settings_of(USUAL_CHANNEL, USUAL_CHANNEL, knob=1))
        for _ in range(presses):
            bench.press()
            bench.run(1300)
        held = bench.pulses()
        bench.get("hello")
        equal(bench.core.panel.state, OFF)
        bench.fitted.turned = FULL
        bench.run(1000)
        equal((bench.pulses(), bench.get("beat")["moving_mask"]), (held, 0))
        bench.run(4100)
        equal(bench.pulses(), NOTHING)  # and now its silence counts
    # what the panel has not begun is put off
    bench = ready()
    bench.press()
    bench.get("hello")
    bench.run(1000)
    equal(len([pulse for pulse in bench.pulses() if pulse]), 1)


def a_press_while_the_pins_are_not_yet_free_waits_for_another():
    bench = ready().setup((1,))
    bench.get("centre", mask=1)
    bench.run(100)
    bench.get("quit")
    bench.core.panel._go_on()
    equal((bench.core.panel.state, bench.pulses()), (OFF, NOTHING))
    bench.run(25)
    bench.core.panel._go_on()
    equal(bench.core.panel.state, CENTRE)


def the_panel_works_across_the_turn_of_the_clock():
    logs = []
    for start_us in (0, CLOCK - 500, CLOCK - 1600700, CLOCK - 5000000, CLOCK // 2):
        bench = ready(start_us=start_us, settings=settings_of(knob=1))
        bench.fitted.turned = 50000
        for _ in range(3):
            bench.press()
            bench.run(2500, 1300)
        equal(bench.core.panel.state, KNOB)
        logs.append(bench.outputs.log)
    for log in logs[1:]:
        equal((len(log) > 1000, log == logs[0]), (True, True))


CASES = (
    a_person_without_a_computer_centres_sweeps_and_stops,
    bounces_are_one_press,
    a_button_that_is_down_at_the_start_does_nothing_until_released,
    every_channel_moves_between_its_own_limits,
    a_sweep_is_stretched_when_the_slew_cannot_follow,
    a_press_before_all_have_started_goes_on_in_order,
    a_resting_knob_gives_a_resting_pulse,
    a_knob_reaches_both_ends_and_its_middle,
    a_board_without_a_pin_for_a_knob_has_none_whatever_its_settings_say,
    the_light_tells_the_states_apart,
    a_new_pattern_begins_at_once_and_at_its_beginning,
    a_fault_of_the_last_start_is_shown_until_somebody_comes,
    with_damaged_settings_the_button_moves_nothing,
    what_is_said_of_one_thing_after_damage_moves_nothing_else,
    a_press_after_a_fault_only_takes_note_of_it,
    with_no_channel_for_the_button_it_moves_nothing_and_says_so,
    what_a_computer_set_up_does_not_outlast_the_press,
    while_a_computer_has_the_word_a_press_stops_all_pulses,
    a_press_takes_the_word_from_a_computer_that_went_silent,
    a_computer_that_comes_back_in_time_keeps_the_word,
    a_computer_takes_the_word_back_and_the_panel_stops,
    a_press_while_the_pins_are_not_yet_free_waits_for_another,
    the_panel_works_across_the_turn_of_the_clock,
)

if __name__ == "__main__":
    run(CASES)

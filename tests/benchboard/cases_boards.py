"""Cases of the table of boards: which is which, whose pins, what cannot work together."""

# ruff: noqa: UP031 - these run under MicroPython too

from benchboard.boards import (
    TABLE,
    UNKNOWN_TICK_PS,
    board_from,
    board_named,
    check_pins,
    counter_of,
    rp2_tick_ps,
    with_pins,
    without_channels,
)
from tests.support.cases import equal, run


def complaint(call, *args):
    try:
        call(*args)
    except ValueError as error:
        return str(error)
    return ""


def pinned(name, **pins):
    return with_pins(board_named(name), pins)


def needs(text, call, *args):
    """Fail unless the call is refused with a sentence that holds the text."""
    said = complaint(call, *args)
    if text not in said:
        raise AssertionError("%r is not in %r" % (text, said))


def every_row_can_be_found_and_its_pins_work_together():
    equal([board_named(board.name) for board in TABLE], list(TABLE))
    for board in TABLE:
        if board.name == "generic":
            equal(board.gpios, ())
            needs("pins.json", check_pins, board)
        else:
            check_pins(board)
            equal(len(board.gpios), 8)
    needs("rp2040, rp2350, esp32, generic, simulated", board_named, "abacus")


def the_chip_is_known_by_its_whole_word():
    for text, platform, name, family in (
        ("Invented board with RP2040", "rp2", "rp2040", "rp2"),
        ("Invented board W with RP2350", "rp2", "rp2350", "rp2"),
        ("Invented board with RP2350-RISCV", "rp2", "rp2350", "rp2"),
        ("Invented ESP32 module with ESP32", "esp32", "esp32", "esp32"),
        ("Invented ESP32 module with ESP32S3", "esp32", "generic", "esp32"),
        ("Invented ESP32 module with ESP32-S3", "esp32", "generic", "esp32"),
        ("Invented ESP32 module with ESP32C6", "esp32", "generic", "esp32"),
        ("Invented RP2040 lookalike with RP20401", "abc", "generic", "other"),
        ("", "abc", "generic", "other"),
        ("linux [GCC 12.2.0] version", "linux", "simulated", "none"),
    ):
        board = board_from(text, platform)
        equal((board.name, board.family), (name, family))


def two_pins_of_one_pulse_output_are_refused_by_name():
    # Pairs of a Pico's header pins that are one pulse output: slice (gpio >> 1) & 7, channel
    # gpio & 1 (RP2040 datasheet, PWM; reported by users as two pins moving together).
    header = tuple(range(23)) + (26, 27, 28)  # noqa: RUF005
    bare = {"button": None, "light": None, "knob": None, "rail": None, "probe": None}
    clashes = []
    for n, gpio in enumerate(header):
        for other in header[:n]:
            said = complaint(check_pins, pinned("rp2040", gpios=[other, gpio], **bare))
            if said:
                clashes.append((other, gpio))
                equal(("GP%d and GP%d " % (other, gpio)) in said, True)
    clashes.sort()
    equal(clashes, [(n, n + 16) for n in range(7)] + [(10, 26), (11, 27), (12, 28)])
    needs("GP0 and GP16", check_pins, pinned("rp2350", gpios=[0, 1, 2, 16], **bare))
    # The pins of other chips have outputs of their own.
    check_pins(pinned("generic", gpios=[0, 1, 2, 16]))


def a_pin_serves_one_thing():
    needs("pin 3 is used twice, for channel 2 and for channel 3", check_pins,
          pinned("generic", gpios=[2, 3, 3]))  # fmt: skip
    for key in ("button", "light", "knob", "rail", "probe"):
        needs("channel 1 and for %s" % key, check_pins,
              pinned("generic", **{"gpios": [4], key: 4}))  # fmt: skip
    needs("button and for probe", check_pins, pinned("generic", gpios=[4], button=9, probe=9))


def pins_that_a_chip_has_not_are_refused():
    needs("no pin 30", check_pins, pinned("rp2040", gpios=[30]))
    needs("no pin 20", check_pins, pinned("esp32", gpios=[20]))
    needs("no pin 33 (light)", check_pins, pinned("rp2350", light=33))
    needs("GP5 is not analogue", check_pins, pinned("rp2040", gpios=[0], knob=5))
    for gpio in (1, 3, 6, 11, 34, 39):  # serial port, flash memory, inputs only
        needs("GPIO%d of an ESP32" % gpio, check_pins, pinned("esp32", gpios=[gpio], knob=None))
    check_pins(pinned("generic", gpios=[45]))  # nothing is known of it


def the_user_s_pins_replace_those_of_the_table():
    board = pinned("rp2040", gpios=[8, 9], button=None, light=25, rail=None)
    equal((board.gpios, board.button_gpio, board.light), ((8, 9), None, 25))
    equal((board.knob_gpio, board.rail_gpio, board.probe_gpio), (26, None, 16))
    equal((board.number, board.clock_hz, board.pwm_base), (1, 125000000, 0x40050000))
    equal(board_named("rp2040").gpios, (0, 1, 2, 3, 4, 5, 6, 7))
    bare = without_channels(board_named("rp2040"))
    equal((bare.gpios, bare.button_gpio, bare.light, bare.probe_gpio), ((), 22, None, None))


def a_list_of_pins_in_another_form_is_refused():
    for pins, text in (
        ([1, 2], "not an object"),
        ({"servos": [1]}, "'servos' is no pin; there are: gpios"),
        ({"gpios": 3}, "at most 8"),
        ({"gpios": [1, 2, 3, 4, 5, 6, 7, 8, 9]}, "at most 8"),
        ({"gpios": ["GP1"]}, "gpios: a pin is a number from 0, not 'GP1'"),
        ({"gpios": [1.5]}, "not 1.5"),
        ({"gpios": [-1]}, "not -1"),
        ({"button": True}, "button: a pin"),
        ({"knob": "26"}, "knob: a pin"),
        ({"light": -2}, "light: a pin"),
        ({"bits": 25}, "bits: 0 to 20"),
        ({"bits": None}, "bits: 0 to 20"),
    ):
        needs(text, with_pins, board_named("generic"), pins)


def ticks_agree_with_what_was_measured_on_the_chip():
    # 305.5 ns at 125 MHz and 50 Hz: measured with MicroPython on an emulated RP2040
    equal(rp2_tick_ps(125000000, 50), 305500)
    # at 150 MHz: 1500 us comes out as 1499.901 us (users' reports): 4911 ticks
    equal((4911 * rp2_tick_ps(150000000, 50) + 500) // 1000, 1499903)
    equal(board_named("rp2040").tick_ps(50), 305500)
    equal(board_named("rp2040").tick_ps(50, 150000000), rp2_tick_ps(150000000, 50))


def other_ticks_follow_from_the_bits_of_the_width():
    # Users' reports, computed there too: 13 bits at 50 Hz are 2.44 us, 16 bits 0.305 us.
    equal(board_named("esp32").tick_ps(50), 305176)
    equal(board_from("Invented board with ESP32C3", "esp32").tick_ps(50), 2441406)
    equal(board_from("Invented board with ESP32C6", "esp32").tick_ps(50), 305176)
    equal(board_named("generic").tick_ps(50), UNKNOWN_TICK_PS)
    equal(pinned("generic", bits=10).tick_ps(50), 19531250)


def counters_lie_twenty_bytes_apart():
    # PWM_CH1_CSR_OFFSET is 0x14 in hardware/regs/pwm.h of the maker's SDK
    board = board_named("rp2040")
    addresses = [counter_of(board, gpio) for gpio in (0, 1, 2, 14, 16)]
    equal(addresses, [0x40050000, 0x40050000, 0x40050014, 0x4005008C, 0x40050000])


CASES = (
    every_row_can_be_found_and_its_pins_work_together,
    the_chip_is_known_by_its_whole_word,
    two_pins_of_one_pulse_output_are_refused_by_name,
    a_pin_serves_one_thing,
    pins_that_a_chip_has_not_are_refused,
    the_user_s_pins_replace_those_of_the_table,
    a_list_of_pins_in_another_form_is_refused,
    ticks_agree_with_what_was_measured_on_the_chip,
    other_ticks_follow_from_the_bits_of_the_width,
    counters_lie_twenty_bytes_apart,
)

if __name__ == "__main__":
    run(CASES)

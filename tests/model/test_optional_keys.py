"""Keys for load, slop and rods: all may be left out, and a slip in one is named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline import units
from hingeline.errors import ModelError
from hingeline.model.checks import FRAME_RATE_HZ, fits_frame
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from tests.support.models import one

EXAMPLE = example_text()


def refused(old, new):
    assert old in EXAMPLE
    with pytest.raises(ModelError) as caught:
        parse_model(EXAMPLE.replace(old, new, 1), source="m.toml")
    assert caught.value.mend
    return str(caught.value)


def test_the_example_gives_them():
    model = parse_model(EXAMPLE, source="m")
    aileron = model.surface("left aileron")
    assert model.header.airspeed_m_s == 22.0
    assert model.servo_of(aileron).gear_play_deg == 0.5
    assert aileron.whole_chord_mm == 190.0
    rod = aileron.rod
    assert (rod.ends.arm, rod.ends.horn) == ("z-bend", "adjustable")
    assert (rod.thread_pitch_mm, rod.fitting_mm) == (0.4, 16.0)
    assert (rod.bare_mm, rod.inner_diameter_mm) == (None, None)
    assert model.surface("rudder").rod.bare_mm == 130.0


def test_all_may_be_left_out():
    surface, servo = one()
    assert servo.gear_play_deg is None
    assert (servo.digital, servo.frame_rate_hz) == (False, None)
    assert surface.whole_chord_mm is None
    rod = surface.rod
    assert rod.ends.arm is rod.ends.horn is rod.bare_mm is None
    assert rod.fitting_mm is rod.thread_pitch_mm is rod.inner_diameter_mm is None


@pytest.mark.parametrize(
    ("text", "m_s"),
    [
        ("25 m/s", 25.0),
        ("90 km/h", 25.0),
        ("100 mph", 44.704),  # international mile 1609.344 m, exact
        ("3600 kt", 1852.0),  # international nautical mile 1852 m, exact
    ],
)
def test_speeds(text, m_s):
    assert units.parse(text, units.SPEED) == pytest.approx(m_s, rel=1e-15)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('airspeed = "22 m/s"', "airspeed = 22", ["model.airspeed", "no unit", "m/s, km/h, mph"]),
        ('airspeed = "22 m/s"', 'airspeed = "0 m/s"', ["model.airspeed", "greater than zero"]),
        ('airspeed = "22 m/s"', 'airspeed = "22 knots"', ["model.airspeed", "'knots'", "kt"]),
        ('airspeed = "22 m/s"', 'airspeed = "700 kt"', ["360 m/s", "340 m/s", "sound"]),
        (
            'gear_play = "0.5 deg"',
            'gear_play = "-0.5 deg"',
            ["A1.gear_play", "-0.5 deg", "0 to 10"],
        ),
        ('gear_play = "0.5 deg"', 'gear_play = "11 deg"', ["A1.gear_play", "11 deg", "0 to 10"]),
        ('gear_play = "0.5 deg"', 'gear_play = "0.5 mm"', ["A1.gear_play", "'mm'", "deg"]),
        ('whole_chord = "190 mm"', 'whole_chord = "44 mm"', ["whole_chord", "44 mm", "45 mm"]),
        ('arm = "z-bend"', 'arm = "bent"', ["rod.ends.arm", "'bent'", "'z-bend', 'l-bend'"]),
        ('arm = "z-bend", ', 'tail = "z-bend", ', ["rod.ends", "'tail'", "arm, horn"]),
        ('play = "0.1 mm"', 'play = "-0.1 mm"', ["rod.play", "less than zero"]),
        (
            'play = "0.1 mm"',
            'inner_diameter = "1.2 mm"',
            ["rod.inner_diameter", "1.2 mm is not less", "solid"],
        ),
        (
            'play = "0.1 mm"',
            'length = "70 mm", bare = "71 mm"',
            ["rod.bare", "71 mm", "70 mm", "whole rod"],
        ),
        ('thread_pitch = "0.4 mm"', 'thread_pitch = "4 mm"', ["thread_pitch", "0.2 to 1 mm"]),
        (
            'horn = "adjustable" }, thread_pitch = "0.4 mm"',
            'horn = "l-bend" }, thread_pitch = "0.4 mm"',
            ["rod.fitting", "16 mm", "adjustable"],
        ),
        (
            'horn = "adjustable" }, thread_pitch = "0.4 mm", fitting = "16 mm"',
            'horn = "l-bend" }, thread_pitch = "0.4 mm"',
            ["rod.thread_pitch", "0.4 mm", "adjustable"],
        ),
    ],
)
def test_a_slip_is_named(old, new, named):
    message = refused(old, new)
    for part in named:
        assert part in message


PLAY = 'gear_play = "0.5 deg"'
PLAY_LINE = PLAY + "                 #"


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        # Analogue servos: the default, whatever the rate.
        (PLAY_LINE, 'frame_rate = "333 Hz" #', ["A1.frame_rate", "333 Hz", "not said", "heat"]),
        (PLAY_LINE, 'frame_rate = "50 Hz" #', ["A1.frame_rate", "50 Hz", "leave"]),
        (
            PLAY_LINE,
            'digital = false\nframe_rate = "200 Hz" #',
            ["A1.frame_rate", "200 Hz", "not said to be digital"],
        ),
        (PLAY_LINE, 'digital = true\nframe_rate = "334 Hz" #', ["334 Hz", "50 to 333 Hz"]),
        (PLAY_LINE, 'digital = true\nframe_rate = "49 Hz" #', ["49 Hz", "50 to 333 Hz"]),
        (PLAY_LINE, 'digital = true\nframe_rate = "0 Hz" #', ["frame_rate", "greater than zero"]),
        (PLAY_LINE, "digital = true\nframe_rate = 200 #", ["frame_rate", "no unit", "50 Hz"]),
        (PLAY_LINE, 'digital = true\nframe_rate = "199.5 Hz" #', ["199.5", "whole number"]),
        (PLAY_LINE, 'digital = "yes" #', ["A1.digital", "'yes'"]),
        (
            'pulse_limits = ["900 us", "2100 us"]  # never',
            'digital = true\nframe_rate = "333 Hz"\npulse_limits = ["900 us", "2300 us"]  # never',
            ["A1.frame_rate", "lasts 3003 us", "2300 us", "800 us"],
        ),
        (
            'pulse_limits = ["900 us", "2100 us"]  # never',
            'pulse_limits = ["299 us", "2100 us"]  # never',
            ["A1.pulse_limits", "299 us"],
        ),
    ],
)
def test_a_frame_rate_that_may_harm_is_named(old, new, named):
    message = refused(old, new)
    for part in named:
        assert part in message


@pytest.mark.parametrize(
    ("new", "digital", "rate"),
    [
        ("digital = true", True, None),
        ("digital = false", False, None),
        ('digital = true\nframe_rate = "50 Hz"', True, 50),
        ('digital = true\nframe_rate = "333 Hz"', True, 333),
    ],
)
def test_a_digital_servo_may_have_a_rate(new, digital, rate):
    servo = parse_model(EXAMPLE.replace(PLAY, new, 1), source="m").servos["A1"]
    assert (servo.digital, servo.frame_rate_hz) == (digital, rate)


def test_a_custom_class_has_the_limits_that_the_file_states():
    text = EXAMPLE.replace(
        'pulse_class = "standard"              #', 'pulse_class = "custom" #'
    ).replace('pulse_limits = ["900 us", "2100 us"]  #', 'pulse_limits = ["350 us", "1700 us"] #')
    servo = parse_model(text, source="m").servos["A1"]
    assert (servo.pulse_class, servo.pulse_limits_us) == ("custom", (350, 1700))
    limits = 'pulse_limits = ["350 us", "1700 us"] #'
    for place in (limits, 'centre = "1500 us"'):  # whoever chooses the class states both
        assert place in text
        without = text.replace(place, "#", 1)
        with pytest.raises(ModelError, match="is missing"):
            parse_model(without, source="m")


@given(st.integers(300, 2500), st.integers(*FRAME_RATE_HZ))
def test_a_pulse_fits_where_the_line_falls_for_the_margin(pulse_us, frame_hz):
    # The longest frame in whole nanoseconds is what the board compares with.
    low_ns = 1_000_000_000 // frame_hz - pulse_us * 1000
    assert fits_frame(pulse_us, frame_hz) is (low_ns >= 800_000)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('gear_play = "0.5 deg"', 'gear_play = "0 deg"'),
        ('whole_chord = "190 mm"', 'whole_chord = "45 mm"'),  # the whole of it moves
        ('play = "0.1 mm"', 'length = "70 mm", bare = "70 mm"'),
    ],
)
def test_the_limit_itself_is_allowed(old, new):
    assert old in EXAMPLE
    assert parse_model(EXAMPLE.replace(old, new, 1), source="m")

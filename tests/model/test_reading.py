"""The strict reader: the example reads, and every slip is named with its place and mend."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.errors import ModelError
from hingeline.model.checks import (
    CHANNELS,
    CLASS_LIMITS_US,
    FRAME_MARGIN_US,
    FRAME_RATE_HZ,
    USUAL_FRAME_HZ,
)
from hingeline.model.reading import parse_model, read_model
from hingeline.model.throws import throw_deg
from hingeline.model.writing import example_text, new_text, write_new

EXAMPLE = example_text()
# A servo, a surface and nothing else: every key that may be left out is left out.
SMALLEST = """
[model]
name = "Plank"
[servos.S]
spline_teeth = 23
pulse_class = "narrow"
centre = "760 us"
pulse_limits = ["500 us", "1000 us"]
rate = "0.1 deg/us"
[[surfaces]]
name = "elevator"
kind = "elevator"
servo = "S"
channel = 8
throws = { up = "10 mm drop", down = "0.4 in straight" }
free_travel = { up = "30 deg", down = "18 mm drop" }
chord = "40 mm"
mount = { ahead = "60 mm", spindle = [0, 0, 2.0], arm_points = "off" }
arm = { holes = ["8 mm"] }
horn = { side = "top", holes = ["15 mm"] }
rod = { diameter = "1 mm", material = "carbon" }
"""


def refused(old, new, text=EXAMPLE):
    assert old in text
    with pytest.raises(ModelError) as caught:
        parse_model(text.replace(old, new, 1), source="m.toml")
    error = caught.value
    assert error.message.startswith("m.toml: ")
    assert error.mend
    return str(error)


def test_the_example_reads_back():
    model = parse_model(EXAMPLE, source="example")
    assert model.name == "Millrace"
    assert [surface.name for surface in model.surfaces] == [
        "left aileron",
        "right aileron",
        "elevator",
        "rudder",
    ]
    aileron = model.surface("left aileron")
    assert aileron.chord_mm == 45.0
    assert aileron.throws["up"] == 15.0
    assert aileron.throws["up"].measure == "deg"
    assert model.servo_of(aileron).centre_us == 1500


def test_what_may_be_left_out_has_its_default():
    model = parse_model(SMALLEST, source="m.toml")
    surface = model.surfaces[0]
    assert (surface.side, surface.arm.hole, surface.arm.teeth_lean) == ("centre", None, 0)
    assert (surface.horn.set_back_mm, surface.mount.off_mm, surface.rod.play_mm) == (0, 0, 0)
    assert model.servos["S"].turns is None
    # drop: asin(10/40) = 14.478 deg; straight: 2 asin(10.16/80) = 14.592 deg (by hand)
    assert throw_deg(surface, "up") == pytest.approx(14.478, abs=1e-3)
    assert throw_deg(surface, "down") == pytest.approx(14.592, abs=1e-3)


def test_a_new_file_reads_back_under_its_own_name(tmp_path):
    for name in ("Heron 2", 'Quote " and \\ backslash', "Bläser", "日本"):
        path = tmp_path / "new.toml"
        write_new(path, name)
        assert read_model(path).name == name
        path.unlink()


def test_a_new_file_never_overwrites(tmp_path):
    path = tmp_path / "m.toml"
    path.write_text("mine")
    with pytest.raises(ModelError, match="already"):
        write_new(path, "Other")
    assert path.read_text() == "mine"
    with pytest.raises(ModelError, match="cannot be written"):
        write_new(tmp_path / "none" / "m.toml", "Other")
    for name in ("", "  ", "a\nb", "\x00"):
        with pytest.raises(ModelError, match="name"):
            new_text(name)


@pytest.mark.parametrize("length", ["0 mm", "-0.0 mm", "-45 mm"])
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("chord", 'chord = "45 mm"'),
        ("arm.holes[1]", 'holes = ["6.4 mm"'),
        ("horn.holes[1]", 'holes = ["12 mm"'),
        ("rod.diameter", 'diameter = "1.2 mm"'),
    ],
)
def test_a_length_that_must_exist_is_greater_than_zero(key, value, length):
    start = value[: value[:-1].rindex(chr(34))]
    message = refused(value, f'{start}"{length}"')
    assert f'surfaces[1] "left aileron".{key}' in message
    assert length in message
    assert "greater than zero" in message


@pytest.mark.parametrize("length", ["0 mm", "-0.0 mm", "-90 mm"])
def test_a_rod_length_must_be_greater_than_zero(length):
    message = refused('material = "steel"', f'length = "{length}", material = "steel"')
    assert "rod.length" in message
    assert "greater than zero" in message


def test_offsets_and_set_back_may_be_negative():
    text = EXAMPLE.replace('set_back = "0 mm"', 'set_back = "-2.5 mm"', 1)
    assert parse_model(text, source="m").surfaces[0].horn.set_back_mm == -2.5


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('chord = "45 mm"', "chord = 45", ["chord", "45 has no unit", "mm, cm, m, in"]),
        ('chord = "45 mm"', 'chrd = "45 mm"', ["'chrd'", "Did you mean 'chord'"]),
        ('chord = "45 mm"', 'wings = "45 mm"', ["'wings'", "Known keys here: name"]),
        ('chord = "45 mm"', "", ["'chord' is missing"]),
        ('"900 us"', '"1,500 us"', ["servos.A1.pulse_limits[1]", "'1,500'", "digits"]),
        ('"900 us"', '"1.5 us"', ["servos.A1.pulse_limits[1]", "'1.5'"]),
        ('centre = "1500 us"', 'centre = "1.5 ms"', ["servos.A1.centre", "'ms'"]),
        ('centre = "1500 us"', 'centre = "2200 us"', ["2200 us", "900 us and 2100 us"]),
        ('"900 us"', '"400 us"', ["400 us is outside 500 to 2500 us", "'standard'"]),
        ('"2100 us"', '"50000 us"', ["50000 us is outside 500 to 2500 us"]),
        ('rate = "0.09 deg/us"', 'rate = "nan deg/us"', ["servos.A1.rate", "nan"]),
        ('rate = "0.09 deg/us"', 'rate = "-0.09 deg/us"', ["greater than zero"]),
        ("spline_teeth = 25", "spline_teeth = 250", ["250 teeth", "10 to 60"]),
        ("spline_teeth = 25", 'spline_teeth = "25"', ["servos.A1.spline_teeth", "'25'", "int"]),
        ("arm_count = 1 ", "arm_count = 0 ", ["arm_count", "1 to 12"]),
        ('kind = "aileron"', 'kind = "wing"', ["'wing'", "'aileron'", "'spoiler'"]),
        ('turns = "ccw"', 'turns = "left"', ["servos.A1.turns", "'cw', 'ccw'"]),
        ('up = "15 deg"', 'up = "35 deg"', ["35.0 deg up", "moves only 30.0 deg up"]),
        ('up = "15 deg"', 'up = "89.5 deg"', ["more than 89 deg"]),
        ('up = "15 deg"', 'up = "15 mm"', ["throws.up", "15 mm drop", "15 mm straight"]),
        ('up = "15 deg"', 'up = "50 mm drop"', ["50 mm drop", "45 mm"]),
        ('up = "15 deg"', 'left = "15 deg"', ["names down, left", "up and down"]),
        ('up = "15 deg"', "up = 15", ["throws.up", "has no unit"]),
        ('up = "15 deg"', 'up = "0 deg"', ["throws.up", "greater than zero"]),
        ('servo = "A1"', 'servo = "A9"', ["'A9'", "A1, A2, E1, R1"]),
        ("hole = 1,", "hole = 4,", ["arm.hole", "hole 4", "3 holes"]),
        ("hole = 1,", "hole = 0,", ["arm.hole", "hole 0"]),
        ('"6.4 mm", "9 mm"', '"9 mm", "6.4 mm"', ["arm.holes", "rising order"]),
        ("channel = 2", "channel = 1", ["channel 1 already drives servo 'A1'"]),
        ('servo = "A2"', 'servo = "A1"', ["servo 'A1' is on channel 1 already"]),
        ("channel = 2", "channel = 33", ["33 is outside 1 to 32", "second board's channel 1"]),
        ('side = "left"', 'side = "centre"', ["left or on the right"]),
        ('side = "bottom"', 'side = "left"', ["horn.side", "'top' or 'bottom'"]),
        ('spindle = "along+"', 'spindle = "up"', ["mount.spindle", "'up'", "along+"]),
        ('spindle = "along+"', "spindle = [0, 0, 0]", ["mount.spindle", "not all zero"]),
        ('spindle = "along+"', "spindle = [0, nan, 1]", ["mount.spindle"]),
        ('play = "0.1 mm"', 'play = "-0.1 mm"', ["rod.play", "less than zero"]),
        ('name = "right aileron"', 'name = "left aileron"', ["used twice"]),
        ('name = "left aileron"', 'name = " "', ["name is empty"]),
        ('name = "Millrace"', 'name = ""', ["model.name"]),
        ('right = "right aileron"', 'right = "left aileron"', ["paired with itself"]),
        ('right = "right aileron"', 'right = "flap"', ["pairs[1].right", "'flap'"]),
        ('right = "right aileron"', 'right = "rudder"', ["do not move in the same"]),
        ("[model]", "[model", ["not valid TOML", "line"]),
    ],
)
def test_a_slip_is_named_with_its_place_and_value(old, new, named):
    message = refused(old, new)
    for part in named:
        assert part in message


def test_a_narrow_servo_with_standard_pulses_is_refused():
    message = refused('pulse_class = "standard"', 'pulse_class = "narrow"')
    assert "2100 us is outside 300 to 1100 us" in message


def test_a_wanted_throw_beyond_the_free_travel_is_refused_on_its_side_only():
    # A rudder of chord 4 in whose bare surface moves 2.5 in left and 1.5 in right
    # (vertical drop): 38.68 and 22.02 deg. 2.5 in each way cannot be had to the right.
    text = EXAMPLE.replace('chord = "60 mm"', 'chord = "4 in"')
    text = text.replace(
        '{ left = "32 deg", right = "32 deg" }',
        '{ left = "2.5 in drop", right = "1.5 in drop" }',
    )
    assert parse_model(text, source="m")
    message = refused(
        '{ left = "22 deg", right = "22 deg" }',
        '{ left = "2.5 in drop", right = "2.5 in drop" }',
        text,
    )
    assert (
        "throws.right: 38.7 deg right is wanted, but the bare surface moves only 22.0" in message
    )


def test_files_that_cannot_be_read_say_why(tmp_path):
    with pytest.raises(ModelError, match="no such file"):
        read_model(tmp_path / "none.toml")
    with pytest.raises(ModelError, match="cannot be read"):
        read_model(tmp_path)
    path = tmp_path / "m.toml"
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(ModelError, match="byte 0 is not UTF-8"):
        read_model(path)
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(ModelError, match="1000001 bytes"):
        read_model(path)


def test_a_file_without_surfaces_is_refused():
    start = EXAMPLE[: EXAMPLE.index("# One table for each surface.")]
    with pytest.raises(ModelError, match="'surfaces' is missing"):
        parse_model(start, source="m")
    with pytest.raises(ModelError, match="no surface"):
        parse_model("surfaces = []\n" + start, source="m")


def test_host_and_board_hold_the_same_limits():
    from shared_protocol import table

    assert table.CHANNELS == CHANNELS
    board_us = {name: (low // 1000, high // 1000) for _, name, low, high in table.CLASSES}
    assert board_us == CLASS_LIMITS_US
    frame = next(field for field in table.word_named("frame").fields if field.key == "frame_hz")
    assert (frame.low, frame.high) == FRAME_RATE_HZ
    assert frame.low == USUAL_FRAME_HZ
    assert table.FRAME_MARGIN_NS == FRAME_MARGIN_US * 1000


@settings(max_examples=300)
@given(st.data())
def test_any_mutilated_file_gives_a_model_or_a_named_error(data):
    cut = data.draw(st.integers(0, len(EXAMPLE)))
    length = data.draw(st.integers(0, 40))
    put = data.draw(st.text(max_size=12))
    text = EXAMPLE[:cut] + put + EXAMPLE[cut + length :]
    try:
        parse_model(text, source="m.toml")
    except ModelError as error:
        assert error.message.startswith("m.toml: ")
        assert error.mend

"""Tables noted on paper: every line is read, or named with what is wrong."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import TravelError, UnitError
from hingeline.travel.paper import COLUMNS, Line, read_table, readings_of

HEADING = "pulse_us,approach,reading"


def table(*lines):
    return read_table("\n".join([HEADING, *lines]), source="a1.csv")


def test_a_line_keeps_its_number_and_its_words():
    assert table("1400,up,-9 deg", "", ' 1600 , DOWN , "9,5 deg" ') == [
        Line(2, 1400, "rising", "-9 deg"),
        Line(4, 1600, "falling", "9,5 deg"),
    ]


@pytest.mark.parametrize(
    ("word", "approach"),
    [("up", "rising"), ("rising", "rising"), ("Down", "falling"), ("FALLING", "falling")],
)
def test_approaches(word, approach):
    assert table(f"1400,{word},1 deg")[0].approach == approach


def test_columns_in_any_order_beside_others_and_with_a_mark_of_byte_order():
    text = "\ufeffNote;Reading;Approach;Pulse_us\n;-9,5 deg;up;1400\nlate;0 deg;up;1500\n"
    assert read_table(text, source="x") == [
        Line(2, 1400, "rising", "-9,5 deg"),
        Line(3, 1500, "rising", "0 deg"),
    ]


def test_odd_line_ends_do_not_shift_the_numbers():
    # splitlines() would count the form feed and the line separator as ends of lines.
    with pytest.raises(TravelError, match="line 3: pulse_us: 'x'"):
        table("1400,up,9 deg\x0c\u2028", "x,up,9 deg")


def test_a_quote_that_is_not_closed_spoils_its_own_line_only():
    with pytest.raises(TravelError, match="line 2: cannot be read"):
        table('1400,up,"9 deg', "1500,up,0 deg")


def test_the_cause_of_a_bad_pulse_is_said():
    with pytest.raises(TravelError) as caught:
        table("1.500,up,0 deg")
    assert "misread by a factor of a thousand" in caught.value.cause
    assert "digits only" in caught.value.mend


@pytest.mark.parametrize(
    ("pulse", "good"), [(299, False), (300, True), (2500, True), (2501, False)]
)
def test_pulses_that_no_servo_may_be_given(pulse, good):
    if good:
        assert table(f"{pulse},up,0 deg")[0].pulse_us == pulse
        return
    with pytest.raises(TravelError, match=f"line 2: pulse_us: {pulse} is not in 300 to 2500 us"):
        table(f"{pulse},up,0 deg")


def test_an_error_of_a_reading_gets_its_place():
    def refuse(line):
        raise UnitError(f"{line.typed!r} is odd.", cause="It is.", mend="Read again.")

    with pytest.raises(TravelError) as caught:
        readings_of([Line(7, 1500, "rising", "x")], refuse, source="a1.csv")
    assert caught.value.message == "a1.csv, line 7: 'x' is odd."
    assert (caught.value.cause, caught.value.mend) == ("It is.", "Read again.")


@given(st.text(max_size=200))
def test_any_text_is_a_table_or_named(text):
    for whole in (text, f"{HEADING}\n{text}"):
        try:
            lines = read_table(whole, source="a1.csv")
        except TravelError as error:
            assert error.message.startswith("a1.csv")
            assert error.mend
        else:
            assert all(300 <= line.pulse_us <= 2500 for line in lines)


ROWS = st.lists(
    st.tuples(
        st.integers(300, 2500),
        st.sampled_from(["up", "down"]),
        # What a table program can write on one line; it strips what stands round a cell.
        st.text(st.characters(exclude_characters="\r\n\x00"), max_size=20).map(str.strip),
    ),
    min_size=1,
    max_size=20,
)


@given(ROWS, st.sampled_from(",;\t"), st.permutations(COLUMNS))
def test_what_a_table_program_writes_comes_back(rows, separator, columns):
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, delimiter=separator, lineterminator="\n")
    writer.writeheader()
    writer.writerows(dict(zip(COLUMNS, row, strict=True)) for row in rows)
    lines = read_table(out.getvalue(), source="x")
    approaches = {"up": "rising", "down": "falling"}
    assert lines == [
        Line(number, pulse, approaches[side], typed)
        for number, (pulse, side, typed) in enumerate(rows, start=2)
    ]

"""Kept settings: whatever happened to the file, what is read from it is possible."""

import json
import os
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchboard.settings import (
    NO_CHANNEL,
    Settings,
    as_text,
    damaged,
    load,
    save,
    settings_from,
    usual,
)
from shared_protocol import table
from shared_protocol.messages import RefusedError
from tests.benchboard.cases_keeping import GOOD, all_of, whole
from tests.support import micropython

CLASSES = {row[0]: row[2:] for row in table.CLASSES}


def check(kept):
    """Fail unless nothing in the settings could harm; on its own, without the code under test."""
    assert kept.source in ("usual", "kept", "damaged")
    assert 50 <= kept.frame_hz <= 333
    assert 200 <= kept.hold_ms < kept.off_ms <= 60_000
    assert 200 <= kept.period_ms <= 120_000
    assert kept.shape in (1, 2)
    assert kept.knob in (0, 1)
    assert kept.rail_low_mv == 0 or 0 < kept.rail_low_mv < kept.rail_full_mv <= 60_000
    assert len(kept.channels) == 8
    for channel in kept.channels:
        if channel.pulse_class == 0:
            assert channel.values() == NO_CHANNEL
        else:
            low_ns, high_ns = CLASSES[channel.pulse_class]
            assert low_ns <= channel.low_ns <= channel.centre_ns <= channel.high_ns <= high_ns
            assert channel.low_ns < channel.high_ns
            assert 10 <= channel.slew_ns_per_ms <= 100_000
            assert channel.high_ns + 800_000 <= 1_000_000_000 // kept.frame_hz


@st.composite
def possible(draw):
    """Draw settings of any possible kind."""
    frame_hz = draw(st.integers(50, 333))
    room_ns = 1_000_000_000 // frame_hz - 800_000
    hold_ms = draw(st.integers(200, 10_000))
    full_mv = draw(st.integers(0, 60_000))
    board = {
        "frame_hz": frame_hz,
        "hold_ms": hold_ms,
        "off_ms": draw(st.integers(max(hold_ms + 1, 500), 60_000)),
        "period_ms": draw(st.integers(200, 120_000)),
        "shape": draw(st.integers(1, 2)),
        "knob": draw(st.integers(0, 1)),
        "rail_full_mv": full_mv,
        "rail_low_mv": draw(st.integers(0, max(full_mv - 1, 0))),
    }
    channels = []
    for _ in range(8):
        pulse_class = draw(st.integers(0, 3))
        if pulse_class == 0:
            channels.append(NO_CHANNEL)
            continue
        low_ns, high_ns = CLASSES[pulse_class]
        high_ns = draw(st.integers(low_ns + 1, min(high_ns, room_ns)))
        low_ns = draw(st.integers(low_ns, high_ns - 1))
        channels.append(
            {
                "class": pulse_class,
                "low_ns": low_ns,
                "high_ns": high_ns,
                "centre_ns": draw(st.integers(low_ns, high_ns)),
                "slew_ns_per_ms": draw(st.integers(10, 100_000)),
            }
        )
    return Settings(board, channels, "kept")


@given(possible())
def test_what_is_written_is_read_again(kept):
    check(kept)
    text = as_text(kept)
    assert all_of(settings_from(text)) == all_of(kept)
    assert len(text) <= 4096


@given(possible(), st.data())
@settings(max_examples=200)
def test_a_file_cut_short_is_damaged(kept, data):
    text = as_text(kept)
    cut = text[: data.draw(st.integers(0, len(text) - 1))]
    assert all_of(settings_from(cut)) == all_of(damaged())


@given(possible(), st.data())
@settings(max_examples=300)
def test_one_wrong_bit_is_damage(kept, data):
    # CRC-32 finds every single wrong bit.
    text = bytearray(as_text(kept).encode())
    text[data.draw(st.integers(0, len(text) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    read = settings_from(text.decode("latin-1"))
    assert all_of(read) == all_of(damaged())


numbers = st.integers(-(2**70), 2**70) | st.floats() | st.booleans() | st.none() | st.text()
anything = st.recursive(
    numbers,
    lambda inner: st.lists(inner, max_size=9) | st.dictionaries(st.text(), inner, max_size=9),
    max_leaves=20,
)


@given(st.text() | st.recursive(st.just("[]"), lambda inner: inner.map("[{}]".format)))
def test_any_text_gives_possible_settings(text):
    check(settings_from(text))
    check(settings_from(whole(text)))


@given(possible(), st.sampled_from(sorted({*GOOD.values(), "low_ns", "class", "slew_ns_per_ms"})),
       anything)  # fmt: skip
@settings(max_examples=200)
def test_a_wrong_value_in_a_file_whose_check_agrees_gives_possible_settings(kept, key, value):
    body = json.loads(as_text(kept))["settings"]
    if key in body["board"]:
        body["board"][key] = value
    else:
        body["channels"][3][key] = value
    read = settings_from(whole(json.dumps(body)))
    check(read)
    assert read.source in ("kept", "damaged")


@given(
    st.dictionaries(st.sampled_from([*sorted(GOOD.values()), "more"]), anything),
    anything | st.sampled_from([NO_CHANNEL, GOOD.channels[0].values()]),
)
def test_what_is_built_is_possible_and_all_else_refused_by_name(board, channel):
    try:
        built = Settings({**GOOD.values(), **board}, [channel] * 8, "kept")
    except RefusedError as error:
        assert error.code in [row[1] for row in table.ERRORS]
    else:
        check(built)


@pytest.fixture
def path(tmp_path):
    return str(tmp_path / "settings.json")


def test_a_file_that_is_not_there_means_the_usual_settings(path):
    assert all_of(load(path)) == all_of(usual())


def test_settings_are_kept_and_replaced(path, tmp_path):
    save(GOOD, path)
    assert all_of(load(path)) == all_of(GOOD)
    other = Settings(dict(GOOD.values(), knob=0), [NO_CHANNEL] * 8, "kept")
    save(other, path)
    assert all_of(load(path)) == all_of(other)
    assert [file.name for file in tmp_path.iterdir()] == ["settings.json"]


def test_the_usual_settings_are_kept_by_there_being_no_file(path, tmp_path):
    save(GOOD, path)
    save(usual(), path)
    assert list(tmp_path.iterdir()) == []
    save(usual(), path)
    assert load(path).source == "usual"


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\xfd", b"\x00" * 5000, b"{" * 100_000])
def test_bytes_that_are_no_settings_are_damaged(path, tmp_path, data):
    (tmp_path / "settings.json").write_bytes(data)
    assert load(path).source == "damaged"


def test_a_file_that_cannot_be_read_is_damaged(tmp_path):
    assert load(str(tmp_path)).source == "damaged"  # a folder


def test_a_failure_while_writing_leaves_the_old_file(path, tmp_path, monkeypatch):
    save(GOOD, path)
    other = Settings(dict(GOOD.values(), knob=0), [NO_CHANNEL] * 8, "kept")

    def fail(*_):
        raise OSError(28, "no space left")

    monkeypatch.setattr(os, "rename", fail)
    with pytest.raises(OSError, match="no space"):
        save(other, path)
    assert all_of(load(path)) == all_of(GOOD)
    monkeypatch.undo()
    save(other, path)  # over what was left behind
    assert all_of(load(path)) == all_of(other)
    (tmp_path / "away").mkdir()
    with pytest.raises(OSError, match="away"):
        save(usual(), str(tmp_path / "away"))  # not a file that can be removed


KILLED = """
import os
from benchboard.settings import load, save, Settings, NO_CHANNEL
def die(*names):
    print("about to rename", flush=True)
    os._exit(9)
os.rename = die
kept = load()
save(Settings(dict(kept.values(), knob=0), [NO_CHANNEL] * 8, "kept"))
"""


def test_a_power_failure_between_writing_and_renaming_leaves_the_old_file(path, tmp_path):
    save(GOOD, path)
    paths = os.pathsep.join((str(micropython.ROOT), str(micropython.FIRMWARE)))
    done = subprocess.run(
        [sys.executable, "-c", KILLED],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (9, "about to rename\n"), done.stderr
    assert (tmp_path / "settings.json.new").exists()
    assert all_of(load(path)) == all_of(GOOD)


STORE = """
from benchboard.settings import load, save, usual, as_text
from tests.benchboard.cases_keeping import GOOD, all_of
print(load().source)
save(GOOD)
save(GOOD)
print(all_of(load()) == all_of(GOOD))
print(open("settings.json").read() == as_text(GOOD))
with open("settings.json", "ab") as file:
    file.write(b"\\xff")
print(load().source)
save(usual())
save(usual())
print(load().source)
"""


def test_files_are_written_and_read_by_micropython(tmp_path):
    script = tmp_path / "store.py"
    script.write_text(STORE, encoding="utf-8")
    printed = micropython.run(script, cwd=tmp_path).split()
    assert printed == ["usual", "True", "True", "damaged", "usual"]
    assert [file.name for file in tmp_path.iterdir()] == ["store.py"]

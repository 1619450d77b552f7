"""What one records file gives away, another takes in: the same again, or nothing at all."""

import copy
import itertools
import json
import math
import tempfile
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, rule

from hingeline.errors import RecordsError
from hingeline.records.store import RESUMED, Records

# A terminal of another encoding sends half letters.
WORDS = st.text(max_size=12) | st.just("half \udce9")
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
FIGURES = st.dictionaries(
    WORDS, st.one_of(NUMBERS, st.integers(-(2**53), 2**53), WORDS, st.lists(NUMBERS, max_size=3))
)
LABELS = st.sampled_from(["A1", "A2", "é\n'\x00"])
BENCHES = st.sampled_from(["board", "simulated", "none"])


def written(records, numbers=None):
    """Return an export as the bytes of its file; of all sessions when none are named."""
    chosen = sorted(row["id"] for row in records.sessions()) if numbers is None else numbers
    return json.dumps(records.exported(chosen), allow_nan=False).encode()


def clock():
    """Make a clock that goes on by a minute whenever it is looked at."""
    ticks = itertools.count()
    return lambda: datetime(2026, 1, 1, tzinfo=timezone.utc) + timedelta(minutes=next(ticks))


class AnyRecords(RuleBasedStateMachine):
    """Whatever is noted in whatever order is the same again where it is taken in."""

    sessions = Bundle("sessions")
    readings = Bundle("readings")

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.records = Records(Path(self.folder.name) / "r.sqlite", clock())
        self.rigs = []
        self.gone = set()

    @initialize(target=sessions)
    def first(self):
        return self.records.start_session("calibrate", bench="board")

    @rule(target=sessions, bench=BENCHES, model=st.none() | st.sampled_from("abc"), board=WORDS)
    def start(self, bench, model, board):
        name = None if model is None else f"Model {model}"
        return self.records.start_session(
            "calibrate", model_name=name, model_text=model, bench=bench, board=board
        )

    @rule(target=sessions, again=st.booleans(), bench=BENCHES)
    def start_rig(self, again, bench):
        begun = [rig for rig in self.rigs if rig not in self.gone]
        rig = begun[-1] if again and begun else 0
        number = self.records.start_session(RESUMED if rig else "rig", bench=bench, rig=rig)
        self.rigs += [] if rig else [number]
        return number

    def stands(self, session):
        return session not in self.gone

    @rule(session=sessions, outcome=WORDS)
    def end(self, session, outcome):
        self.records.end_session(session, outcome)

    @rule(target=readings, session=sessions, servo=LABELS, typed=WORDS, value=NUMBERS)
    def read(self, session, servo, typed, value):
        return (session, self.note(session, servo, typed, value, None))

    @rule(target=readings, old=readings, session=sessions, servo=LABELS, value=NUMBERS)
    def replace(self, old, session, servo, value):
        replaces = old[1] if self.stands(old[0]) else None
        return (session, self.note(session, servo, "yes", value, replaces))

    def note(self, session, servo, typed, value, replaces):
        if not self.stands(session):
            return None
        return self.records.note_reading(
            session,
            servo=servo,
            surface=None if value < 0 else "left aileron",
            pulse_us=1500 + value % 500,
            approach="rising" if value < 1 else "falling",
            gauge="arm",
            resolution=0.5,
            typed=typed,
            value=value,
            unit="deg",
            replaces=replaces,
            because="yes" if replaces else "",
        )

    @rule(session=sessions, of=st.none() | readings, servo=st.none() | LABELS, figures=FIGURES)
    def remark(self, session, of, servo, figures):
        reading = None if of is None or not self.stands(of[0]) else of[1]
        if self.stands(session):
            self.records.note_remark(
                session, "kept", servo=servo, reading=reading, text="ä", figures=figures
            )

    @rule(session=sessions, servo=LABELS, figures=FIGURES)
    def find(self, session, servo, figures):
        if self.stands(session):
            self.records.note_curve(session, servo, figures)
            self.records.note_finding(session, "throw", servo, figures)
            self.records.note_servo(session, servo, figures)

    @rule(session=sessions, outcome=st.sampled_from(["done", "failed", "skipped", "reopened"]))
    def step(self, session, outcome):
        if self.stands(session):
            self.records.note_step(session, "rudder", "seat", outcome, "why", {"print": "é"})

    @rule(session=sessions)
    def forget(self, session):
        if self.stands(session):
            try:
                going = self.records.going([session])
            except RecordsError:  # a later one of a rig
                return
            assert self.records.forget([session]) == going
            self.gone |= set(going)

    def teardown(self):
        folder = Path(self.folder.name)
        text = written(self.records)
        there = [row["id"] for row in json.loads(text)["sessions"]]
        assert not set(there) & self.gone
        with Records(folder / "empty.sqlite", clock()) as empty:
            taken = empty.take_in(text)
            assert list(taken.new) == there
            assert not taken.known
            same(json.loads(text), json.loads(written(empty)), taken.new)
            assert list(empty.take_in(text).known) == there
            same(json.loads(text), json.loads(written(empty)), taken.new)
        with Records(folder / "other.sqlite", clock()) as other:
            other.note_reading(
                other.start_session("throw", model_name="Model b", model_text="b"),
                servo="A1",
                pulse_us=1500,
                approach="rising",
                gauge="arm",
                resolution=0.5,
                typed="0",
                value=0.0,
                unit="deg",
            )
            other.note_remark(1, "kept", reading=1)
            before = other.session(1)
            # Some of it first: what comes then may speak of readings that are here already.
            some = self.records.belonging(there[:1])
            first = other.take_in(written(self.records, some))
            assert list(first.new) == some
            taken = other.take_in(text)
            assert taken.known == first.new
            assert other.session(1) == before
            numbers = {**taken.known, **taken.new}
            here = [numbers[number] for number in there]
            same(json.loads(text), json.loads(written(other, here)), numbers)
            # And back where it came from, nothing is new but what the other had itself.
            back = self.records.take_in(written(other))
            assert list(back.new) == [1]
            assert sorted(back.known.values()) == there
        self.records.close()
        self.folder.cleanup()


def same(there, here, numbers):
    """Assert that two exports are the same, but for the numbers that the rows were given."""
    readings = {}
    for one, other in zip(there["sessions"], here["sessions"], strict=True):
        assert other["id"] == numbers[one["id"]]
        for row, copied in zip(one["readings"], other["readings"], strict=True):
            readings[row["id"]] = copied["id"]
    given = {"id": numbers, "session_id": numbers, "rig": numbers, "reading_id": readings}
    for one, other in zip(there["sessions"], here["sessions"], strict=True):
        compared(one, other, given)


def compared(one, other, given, key=""):
    assert type(one) is type(other)
    if isinstance(one, dict):
        assert set(one) == set(other)
        for name in one:
            if name == "model_id":
                continue
            if name == "id" and "uid" not in one:
                continue  # of a row: what refers to it is compared instead
            if name == "by" and key == "figures":
                assert other[name] == given["reading_id"][one[name]]
            elif name in given and key != "figures" and one[name] is not None:
                assert other[name] == given[name][one[name]]
            else:
                compared(one[name], other[name], given, name)
    elif isinstance(one, list):
        for left, right in zip(one, other, strict=True):
            compared(left, right, given)
    else:
        assert one == other


AnyRecords.TestCase.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)
TestAnyRecords = AnyRecords.TestCase


@pytest.fixture(scope="module")
def export(tmp_path_factory):
    """Return a small export with a row of each kind, as plain figures."""
    with Records(tmp_path_factory.mktemp("from") / "r.sqlite", clock()) as records:
        first = records.start_session(
            "rig", model_name="Heron", model_text="[model]", bench="board", board="b1", rig=0
        )
        reading = {
            "servo": "A1",
            "pulse_us": 1500,
            "approach": "rising",
            "gauge": "arm",
            "resolution": 0.5,
            "typed": "0,5",
            "value": 0.5,
            "unit": "deg",
        }
        row = records.note_reading(first, **reading)
        records.note_reading(first, **reading, replaces=row, because="yes")
        records.note_curve(first, "A1", {"rate_deg_per_us": 0.09})
        records.note_finding(first, "throw", "rudder", {"deg": 1.0})
        records.note_step(first, "rudder", "seat", "done")
        records.note_servo(first, "A1", {"spline_teeth": 25})
        records.end_session(first, "done")
        records.start_session("calibrate", rig=first)
        return json.loads(written(records))


@pytest.fixture
def target(tmp_path):
    with Records(tmp_path / "to.sqlite", clock()) as records:
        session = records.start_session("throw")
        records.note_finding(session, "throw", "rudder", {"deg": 2.0})
        yield records


def refused(target, text, match=None):
    before = written(target)
    with pytest.raises(RecordsError, match=match):
        target.take_in(text)
    assert written(target) == before


def places(value, path=()):
    """List the path to every value in an export; what is in figures is free."""
    if path:
        yield path
    if isinstance(value, dict) and (not path or path[-1] not in ("figures", "curve")):
        for key, inner in value.items():
            yield from places(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from places(inner, (*path, index))


def at(export, path):
    """Return a copy of an export, and in it what holds the value at a path."""
    copied = copy.deepcopy(export)
    holder = copied
    for key in path[:-1]:
        holder = holder[key]
    return copied, holder


def test_a_missing_key_is_refused_wherever_it_is(export, target):
    keys = [path for path in places(export) if isinstance(path[-1], str)]
    assert len(keys) > 80
    for path in keys:
        changed, holder = at(export, path)
        del holder[path[-1]]
        refused(target, json.dumps(changed).encode(), match=f"`{path[-1]}`")


def test_a_key_too_many_is_refused_and_its_place_named(export, target):
    holders = {path[:-1] for path in places(export) if isinstance(path[-1], str)}
    for path in sorted(holders, key=str):
        changed, holder = at(export, (*path, "more"))
        holder["more"] = 1
        refused(target, json.dumps(changed).encode(), match="more")


def test_a_value_of_another_type_is_refused_and_its_place_named(export, target):
    tried = 0
    for path in places(export):
        changed, holder = at(export, path)
        was = holder[path[-1]]
        place = "".join(
            rf"\[({key}|\.\.\.)\]" if isinstance(key, int) else rf"\.{key}" for key in path
        )
        for other in (True, [1], {"a": []}, "text", 1.5, 2**60):
            kinds = [str] if was is None else [type(was)]
            # A whole number may stand for a decimal one; what is in figures is free.
            kinds += [int] if isinstance(was, float) else []
            if type(other) in kinds and other != 2**60:
                continue
            if other == 2**60 and not isinstance(was, int):
                continue
            holder[path[-1]] = other
            refused(target, json.dumps(changed).encode(), match=rf"`\${place}`")
            tried += 1
    assert tried > 400


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("format",), 2, "format"),
        (("sessions", 0, "uid"), "nothing", "uid"),
        (("sessions", 0, "uid"), "0" * 31 + "G", "uid"),
        (("sessions", 0, "started"), "yesterday", "started"),
        (("sessions", 0, "ended"), "2026-01-01 00:00:00", "ended"),
        (("sessions", 0, "bench"), "kitchen", "bench"),
        (("sessions", 0, "model"), None, "model"),
        (("sessions", 0, "rig"), 7, "rig"),
        (("sessions", 0, "rig"), 2, "rig"),
        (("sessions", 1, "id"), 1, "twice"),
        (("sessions", 1, "id"), 0, "id"),
        (("sessions", 1, "id"), 2**63, "id"),
        (("sessions", 0, "readings", 0, "approach"), "sideways", "approach"),
        (("sessions", 0, "readings", 0, "session_id"), 2, "session 2"),
        (("sessions", 0, "readings", 1, "id"), 1, "twice"),
        (("sessions", 0, "remarks", 0, "reading_id"), 9, "reading 9"),
        (("sessions", 0, "steps", 0, "outcome"), "perhaps", "outcome"),
    ],
)
def test_numbers_and_words_must_fit_together(export, target, path, value, said):
    changed, holder = at(export, path)
    holder[path[-1]] = value
    refused(target, json.dumps(changed).encode(), match=said)


def test_a_uid_twice_is_refused(export, target):
    changed = copy.deepcopy(export)
    changed["sessions"][1]["uid"] = changed["sessions"][0]["uid"]
    refused(target, json.dumps(changed).encode(), match="twice")


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"\xff\xfe{}",
        b'{"format": 1, "sessions": []} more',
        b'{"sessions": []}',
        b"[" * 100_000,
        b"\xef\xbb\xbf",
    ],
)
def test_what_is_no_export_is_refused(target, text):
    refused(target, text, match="no export")


FREE = (("sessions", 0, "findings", 0, "figures"), ("sessions", 0, "curves", 0, "curve"))


@pytest.mark.parametrize("path", FREE)
@pytest.mark.parametrize(
    "inside",
    [
        '{"deg": NaN}',
        '{"deg": 1e999}',
        '{"deg": ' + "9" * 5000 + "}",
        '{"deg": "\\ud800"}',
        '{"\\udc80": 1}',
        '{"deg": ' + "[" * 5000 + "]" * 5000 + "}",
        '{"deg": ' + "[" * 900 + "]" * 900 + "}",
    ],
    ids=["nan", "infinite", "many digits", "half a letter", "half a key", "deep", "less deep"],
)
def test_what_cannot_be_kept_is_refused_or_comes_back(export, target, path, inside):
    changed, holder = at(export, path)
    holder[path[-1]] = "HERE"
    text = json.dumps(changed).replace('"HERE"', inside).encode()
    before = written(target)
    try:
        target.take_in(text)
    except RecordsError:
        assert written(target) == before
    else:
        # It must not be something that this file cannot give away again.
        row = json.loads(written(target))["sessions"][1]
        for key in path[2:]:
            row = row[key]
        assert row["deg"] is not None
        assert not (isinstance(row["deg"], float) and math.isinf(row["deg"]))


def test_broken_off_while_it_is_written_nothing_is_taken_in(export, target, monkeypatch):
    inserts = itertools.count()
    insert = Records._insert
    before = written(target)
    for at_most in itertools.count():
        inserts = itertools.count()

        def stopping(self, table, at_most=at_most, inserts=inserts, **values):
            if next(inserts) == at_most:
                raise KeyboardInterrupt
            return insert(self, table, **values)

        monkeypatch.setattr(Records, "_insert", stopping)
        try:
            target.take_in(json.dumps(export).encode())
        except KeyboardInterrupt:
            assert written(target) == before
        else:
            break
    assert at_most == 10  # sessions, a model, and a row of each kind (two readings)
    assert len(target.sessions()) == 3

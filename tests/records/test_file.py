"""What is written is kept as it can be read, whatever a terminal sent."""

import json
from datetime import datetime, timedelta, timezone

import pytest

from hingeline.records.store import Records

# What a terminal of another encoding sends for an "é", as Python hands it on.
HALF = "\udce9"


@pytest.fixture
def records(tmp_path):
    with Records(tmp_path / "r.sqlite") as opened:
        yield opened


def test_half_a_letter_is_kept_as_it_can_be_seen(records):
    session = records.start_session(f"calibrate {HALF}", model_name=f"Model {HALF}", model_text="")
    row = records.note_reading(
        session,
        servo=f"A{HALF}",
        pulse_us=1500,
        approach="rising",
        gauge="arm",
        resolution=0.5,
        typed=f"12,5{HALF}",
        value=12.5,
        unit="deg",
    )
    records.note_remark(session, "note", reading=row, text=HALF, figures={HALF: [HALF, "\\udce9"]})
    records.end_session(session, f"failed: {HALF}")
    whole = records.session(session)
    # It can be written to a file, and is the same again.
    assert json.loads(json.dumps(whole, ensure_ascii=False).encode("utf-8")) == whole
    assert whole["command"] == r"calibrate \udce9"
    assert whole["outcome"] == r"failed: \udce9"
    assert whole["readings"][0]["typed"] == r"12,5\udce9"
    assert whole["remarks"][0]["text"] == r"\udce9"
    assert whole["remarks"][0]["figures"] == {r"\udce9": [r"\udce9", r"\udce9"]}
    # And what was asked for under the same keys is found.
    assert [row["id"] for row in records.sessions(servo=f"A{HALF}")] == [session]
    assert [row["id"] for row in records.sessions(model=f"Model {HALF}")] == [session]


def test_whole_letters_stay_as_they_are(records):
    session = records.start_session("calibrate")
    text = 'é \U0001f6e9 \\udce9 \x00 "\n'
    records.note_finding(session, "throw", text, {text: text})
    (found,) = records.session(session)["findings"]
    assert (found["subject"], found["figures"]) == (text, {text: text})


def test_a_session_from_the_future_is_told(tmp_path):
    now = datetime(2026, 5, 1, tzinfo=timezone.utc)
    with Records(tmp_path / "t.sqlite", now=lambda: now) as records:
        assert records.ahead() is None
        records.start_session("throw")
        assert records.ahead() is None
    with Records(tmp_path / "t.sqlite", now=lambda: now - timedelta(days=30)) as records:
        assert records.ahead() == "2026-05-01T00:00:00+00:00"

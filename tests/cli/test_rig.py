"""The guided run on the simulated bench, from bare servos to a name under it."""

import json
import re
from collections import Counter

import pytest

from hingeline.errors import LostError, ModelError, Stopped
from hingeline.records.store import Records
from hingeline.rigging.steps import STEPS
from tests.cli.running import run
from tests.support.rigging import MODEL, SURFACES, play

KNOWN, UNKNOWN = 75, 150


@pytest.fixture
def records(folder):
    """Open the records of the test's folder when they are wanted."""
    return lambda: Records(folder / "records.sqlite")


def rows_of(records, **kind):
    with records() as opened:
        newest = opened.newest_rig("Millrace", simulated=True)
        rows = opened.rig_steps(newest["id"])
    return [row for row in rows if all(row[key] == value for key, value in kind.items())]


def test_a_whole_rig_is_signed_and_passes(records, capsys):
    played = play("--json")
    assert (played.error, played.code) == (None, 0)
    figures = json.loads(capsys.readouterr().out)
    assert figures["pass"] is True
    assert figures["signed"] == "Ada Brook"
    assert figures["remaining"] == []
    with records() as opened:
        newest = opened.newest_rig("Millrace", simulated=True)
        assert newest["signed"] is True
        for name in SURFACES:
            rigged = opened.latest_finding("rigged", name, simulated=True)["figures"]
            surface = MODEL.surface(name)
            assert rigged["pass"] is True
            assert set(rigged["ends_us"]) == set(rigged["words"]) == set(surface.throws)
            shares = [(point["share"], point["from"]) for point in rigged["points"]]
            assert shares == [
                (0.0, "neutral"),
                (0.5, "neutral"),
                (1.0, "neutral"),
                (0.0, "first"),
                (-0.5, "neutral"),
                (-1.0, "neutral"),
            ]
            for point in rigged["points"]:
                assert abs(point["measured_deg"] - point["wanted_deg"]) <= 1.0
                assert point["wanted_deg"] * point["share"] >= 0
            centre, ends = rigged["centre_us"], rigged["ends_us"]
            rises = ends[rigged["rising_pulse"]]
            other = next(us for word, us in ends.items() if word != rigged["rising_pulse"])
            assert other < centre < rises
            assert opened.latest_finding("seat", surface.servo, simulated=True) is not None


def test_the_prompts_are_few():
    unknown = play()
    assert len(unknown.prompts) <= UNKNOWN
    known = play("--calibration", "record")
    assert known.code == 0
    assert len(known.prompts) <= KNOWN
    count = Counter(topic for topic, _ in known.prompts)
    assert count == {
        "leads": 1,
        "bare": 8,
        "class": 1,
        "arms off": 1,
        "which servo": 4,
        "seat": 4,
        "holes": 4,
        "set-back": 4,
        "neutral": 8,  # each comes to neutral once more from its first end
        "direction": 4,
        "throw": 16,
        "slop": 4,
        "binding": 8,
        "screws": 1,
        "signoff": 1,
    }
    calibrated = {surface for topic, surface in unknown.prompts if topic == ""}
    assert calibrated == {""}  # a calibration asks as it does outside a rig


def test_record_is_offered_where_every_servo_has_a_curve():
    first = play("--calibration", "quick")
    assert ("travel", "") not in first.prompts
    again = play(script={"travel": ["rec"]})
    assert again.code == 0
    for surface in MODEL.surfaces:
        assert any(
            re.fullmatch(
                rf"on record for {surface.servo}: [-\d]{{10}} on Millrace, session \d+", line
            )
            for line in again.lines
        )
    assert "(record: " in again.talk
    assert not [one for one in again.prompts if one[0] == ""]


def test_all_of_a_stage_come_before_the_next(records):
    play()
    steps = [row["step"] for row in rows_of(records)]
    order = [step.name for step in STEPS]
    assert steps == sorted(steps, key=order.index)


def test_stopped_it_goes_on_at_the_same_step():
    stopped = play(script={("seat", "elevator"): ["stop"]})
    assert isinstance(stopped.error, Stopped)
    assert "Go on with: hingeline rig millrace.toml" in stopped.error.mend
    again = play()
    assert again.code == 0
    heads = [line for line in again.lines if line.startswith("[")]
    assert "elevator: arm seated" in heads[0]
    assert not {topic for topic, _ in again.prompts} & {"leads", "bare", "class", "which servo"}


def test_a_step_left_out_is_shown_at_the_end_and_the_code_is_1(records):
    played = play(script={("slop", "rudder"): ["skip no time today"]})
    assert played.code == 1
    assert any("skipped: rudder: slop: no time today" in line for line in played.lines)
    assert rows_of(records, step="slop", surface="rudder")[0]["outcome"] == "skipped"


def test_signing_cannot_be_left_out():
    played = play(script={"signoff": ["skip it"]})
    assert played.code == 0
    assert "Signing cannot be left out" in played.talk


def test_redo_opens_what_rests_on_it(records):
    played = play(script={("binding", "rudder"): ["redo bare rudder"]})
    assert played.code == 0
    throws = rows_of(records, step="throws", surface="rudder")
    assert len(throws) == 2
    assert len(rows_of(records, step="throws", surface="elevator")) == 1


@pytest.mark.parametrize("typed", ["redo nonsense", "redo throws", "redo limits rudder"])
def test_redo_of_what_is_not_there_is_told(typed):
    played = play(script={"leads": [typed]})
    assert played.code == 0
    assert any(line.startswith("redo ") or "still to come" in line for line in played.lines)


def test_everything_typed_is_on_record(records):
    script = {
        "leads": ["what", "note cold in here", "why", "list", "?"],
        ("neutral", "elevator"): ["up", "2 cm", "redo"],
    }
    play(script=script)
    with records() as opened:
        newest = opened.newest_rig("Millrace", simulated=True)
        remarks = [remark["text"] for remark in opened.remarks(newest["id"])]
    for typed in ("what", "note cold in here", "why", "list", "up", "2 cm", "redo", "Ada Brook"):
        assert typed in remarks


def test_another_class_than_listed_sends_nothing():
    sent = []
    played = play(
        script={"class": ["different"]},
        build=lambda stations: [watch(station, sent) for station in stations.values()],
    )
    assert isinstance(played.error, ModelError)
    assert "pulse_class" in played.error.mend
    assert sent == []


def watch(station, sent):
    advance = station.advance

    def watched(pulse_us, seconds):
        if pulse_us:
            sent.append(pulse_us)
        advance(pulse_us, seconds)

    station.advance = watched


def test_hands_are_never_where_pulses_are():
    """Leads, bare surfaces, rods, mends, screws and signing are asked about without pulses."""
    pulses, stood = {}, []

    def build(stations):
        for channel, station in stations.items():
            follow(station, channel)

    def follow(station, channel):
        advance = station.advance

        def watched(pulse_us, seconds):
            pulses[channel] = pulse_us
            advance(pulse_us, seconds)

        station.advance = watched

    def before(topic, _surface):
        stood.append((topic, sum(1 for pulse in pulses.values() if pulse)))

    played = play(build=build, before=before, script={("holes", "rudder"): ["different"]})
    assert played.code == 0
    silent = {"leads", "bare", "class", "holes", "arm hole", "set-back", "screws", "signoff"}
    alone = {"which servo", "neutral", "throw", "slop", "binding"}
    for topic, live in stood:
        if topic in silent | {"arms off", "mend", "doing"}:
            assert live == 0, topic
        elif topic in alone:
            assert live == 1, topic
    assert {topic for topic, _ in stood} > silent - {"arm hole", "set-back"}


def swapped(stations):
    stations[1], stations[2] = stations[2], stations[1]


def test_swapped_leads_are_named_and_put_right(records):
    played = play(build=swapped)
    assert played.code == 0
    first = rows_of(records, step="centre", surface="left aileron")
    assert first[0]["outcome"] == "failed"
    assert first[0]["figures"]["cause"] == "leads"
    assert "channel 1 moves servo A2" in first[0]["text"]
    assert first[-1]["outcome"] == "done"


def test_a_fault_that_is_left_is_kept_with_its_reason(records):
    def loose(stations):
        stations[3].free_deg = (-9.0, 9.0)

    script = {("mend", "elevator"): ["leave"] * 9, "reason": ["it will do"] * 9}
    played = play(build=loose, script=script)
    assert played.code == 1
    row = rows_of(records, step="bare", surface="elevator")[-1]
    assert row["outcome"] == "failed"
    assert row["figures"]["cause"] == "bare stops early"
    assert row["figures"]["left"] == "it will do"


def test_a_slip_of_typing_is_questioned_and_both_are_kept(records):
    script = {("throw", "elevator"): ["up 65", "yes"]}
    played = play(script=script)
    assert played.code == 0
    assert "Was up 6.5 meant (decimal point)?" in played.talk
    with records() as opened:
        newest = opened.newest_rig("Millrace", simulated=True)
        whole = opened.session(newest["id"])
    typed = [row["typed"] for row in whole["readings"]]
    assert typed[typed.index("up 65") + 1] == "up 6.5"
    assert any(remark["kind"] == "replaced" for remark in whole["remarks"])


def test_a_lost_board_is_looked_for_again_and_the_step_begins_again():
    lost = []

    def before(topic, surface):
        if (topic, surface) == ("throw", "elevator") and not lost:
            lost.append(surface)
            raise LostError("sim:: the board is gone.")

    played = play(before=before)
    assert lost
    assert (played.error, played.code) == (None, 0)
    first, second = played.builders
    assert first.asked[-1][0] == "broken off"
    assert "elevator: throws" in next(line for line in second.lines if line.startswith("["))
    assert ("bare", "elevator") not in second.asked


def test_a_lost_board_may_be_left(records):
    def before(topic, surface):
        if (topic, surface) == ("throw", "elevator"):
            raise LostError("sim:: the board is gone.")

    played = play(before=before, script={"broken off": ["stop"]})
    assert isinstance(played.error, LostError)
    assert rows_of(records, step="throws", surface="elevator") == []
    with records() as opened:
        number = opened.newest_rig("Millrace", simulated=True)["id"]
        assert "stop" in [remark["text"] for remark in opened.remarks(number)]
    assert play().code == 0


def test_a_pair_whose_throws_are_swapped_fails(records):
    """Equal in sum, but the wrong way round on one side: the sides do not match."""

    throws = ["up 5.5", "up 11", "down 7.5", "down 15"]
    script = {
        ("throw", "right aileron"): throws,
        ("mend", "right aileron"): ["leave"],
        "reason": ["trial"],
    }
    played = play(script=script)
    assert played.code == 1
    row = rows_of(records, step="pair")[-1]
    assert row["outcome"] == "failed"
    assert row["figures"]["worst_deg"] > 3.0
    assert abs(row["figures"]["worst_share"]) == 1.0


def test_the_list_needs_no_bench(capsys):
    play(script={("seat", "elevator"): ["stop"]})
    played = play("--list")
    assert played.code == 0
    assert played.builders == []
    out = capsys.readouterr().out
    assert "done     seat       right aileron: arm seated" in out
    assert "open     seat       elevator: arm seated" in out


def test_the_list_needs_no_board_at_all():
    ran = run("rig", "millrace.toml", "--list")
    assert ran.code == 0
    assert "0 of 49 steps are dealt with" in ran.out


def test_one_surface_first_and_then_all():
    assert play("rudder").code == 0
    whole = play()
    assert whole.code == 0
    assert ("leads", "") in whole.prompts
    assert not [one for one in whole.prompts if one[1] == "rudder" and one[0] == "bare"]


def test_a_signed_rig_is_followed_by_a_new_one(records):
    play()
    with records() as opened:
        first = opened.newest_rig("Millrace", simulated=True)["id"]
    assert play("--calibration", "record").code == 0
    with records() as opened:
        assert opened.newest_rig("Millrace", simulated=True)["id"] > first


def test_a_label_that_seems_to_stand_on_another_servo_is_told(records, folder, capsys):
    play(script={"leads": ["stop"]})
    assert "A1" not in capsys.readouterr().err.split("channel 4")[1]
    file = folder / "millrace.toml"
    file.write_text(file.read_text("utf-8").replace("spline_teeth = 25", "spline_teeth = 24", 1))
    play(script={"leads": ["stop"], "bare": ["stop"]})
    told = " ".join(capsys.readouterr().err.split())
    assert "A1" in told.split("channel 4")[1]
    assert "24 now, 25 then" in told
    with records() as opened:
        assert opened.newest_servo("A1", simulated=True)["figures"]["spline_teeth"] == 24

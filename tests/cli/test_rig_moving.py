"""What may move in a guided run, and when: never a servo that is not known to be the one meant."""

import pytest

from hingeline.bench.simulated.faults import station_of
from hingeline.errors import LostError, ModelError
from hingeline.records.store import Records
from hingeline.rigging.steps import STEPS
from tests.cli.running import run
from tests.support.rigging import SURFACES, play

MOVING = {step.name for step in STEPS if step.waits_for}
WAITS = "waits for servo at centre"


@pytest.fixture
def rows(folder):
    """Return the rows of the newest rig, of one kind."""

    def found(**kind):
        with Records(folder / "records.sqlite") as records:
            newest = records.newest_rig("Millrace", simulated=True)
            every = records.rig_steps(newest["id"])
        return [row for row in every if all(row[key] == value for key, value in kind.items())]

    return found


class Watched:
    """Counts how often stations get another pulse, and notes how often that was at each prompt."""

    def __init__(self):
        self.sent = dict.fromkeys(SURFACES, 0)
        self.at = []

    def build(self, stations):
        for name in SURFACES:
            self._follow(station_of(stations, name), name)

    def _follow(self, station, name):
        advance, last = station.advance, [0]

        def watched(pulse_us, seconds):
            if pulse_us and pulse_us != last[0]:
                self.sent[name] += 1
            last[0] = pulse_us
            advance(pulse_us, seconds)

        station.advance = watched

    def before(self, topic, surface):
        self.at.append((topic, surface, dict(self.sent)))

    def after(self, topic, surface):
        """Return how many pulses were sent at each time that this was asked."""
        return [sent for one, name, sent in self.at if (one, name) == (topic, surface)]


def test_what_gives_pulses_waits_for_leads_class_and_centre():
    moving = {"centre", "seat", "travel", "neutral", "direction", "throws", "slop", "binding"}
    assert moving == MOVING


@pytest.mark.parametrize(
    ("order", "next_topic"), [("redo travel", "rod off"), ("redo", "rod off")]
)
def test_a_servo_is_not_stepped_before_its_rod_is_off(rows, order, next_topic):
    watched = Watched()
    script = {("binding", "rudder"): ["redo travel rudder"]}
    if order == "redo":
        script[next_topic, "rudder"] = ["redo"]
    played = play(
        "--calibration", "quick", script=script, build=watched.build, before=watched.before
    )
    assert played.code == 0
    topics = [(topic, surface) for topic, surface, _ in watched.at]
    asked = topics.index(("rod off", "rudder"))
    assert topics[asked - 1] == ("binding", "rudder")
    assert topics.count(("rod off", "rudder")) == (2 if order == "redo" else 1)
    pulses = [sent["rudder"] for sent in watched.after("rod off", "rudder")]
    assert len(set(pulses)) == 1, "none between one question and the next"
    assert pulses[0] == watched.at[asked - 1][2]["rudder"], "none before it"
    # The rod is put on again by a question.
    assert topics[asked:].count(("holes", "rudder")) == 1
    assert rows(step="travel", surface="rudder")[-1]["figures"]["rod_off"] is True
    assert [row["outcome"] for row in rows(step="rod", surface="rudder")] == ["done", "done"]


def test_before_an_arm_is_fitted_anew_its_rod_is_off():
    played = play(script={("binding", "rudder"): ["redo seat rudder"]})
    assert played.code == 0
    again = played.prompts[played.prompts.index(("rod off", "rudder")) :]
    assert [topic for topic, _ in again[:3]] == ["rod off", "seat", "holes"]


def test_a_rod_that_was_never_put_on_is_not_asked_about():
    assert "rod off" not in {topic for topic, _ in play("--calibration", "quick").prompts}


def swapped(stations):
    stations[1], stations[2] = stations[2], stations[1]


def test_a_wrong_plug_is_not_left_as_it_is(rows):
    played = play(build=swapped, script={("mend", "left aileron"): ["leave"]})
    assert played.code == 0
    assert "'leave' is none of: 1" in played.talk
    assert rows(step="centre", surface="left aileron")[-1]["outcome"] == "done"


def test_a_surface_whose_servo_does_not_move_gets_no_pulses_from_then_on(rows):
    watched = Watched()
    script = {
        ("which servo", "elevator"): ["none"] * 3,
        ("mend", "elevator"): ["leave"],
        "reason": ["no time"],
    }
    played = play(script=script, build=watched.build, before=watched.before)
    assert played.code == 1
    left = {row["step"]: row for row in rows(surface="elevator") if row["text"] == WAITS}
    assert set(left) == MOVING - {"centre"}
    assert {row["outcome"] for row in left.values()} == {"skipped"}
    assert any("skipped: elevator: throws" in line and WAITS in line for line in played.lines)
    last = watched.after("which servo", "elevator")[-1]["elevator"]
    assert watched.at[-1][2]["elevator"] == last


def test_a_servo_that_is_found_later_has_everything_done(rows):
    script = {
        ("which servo", "elevator"): ["none"] * 3,
        ("mend", "elevator"): ["leave"],
        "signoff": ["redo centre elevator"],
    }
    assert play(script=script).code == 0
    assert {row["outcome"] for row in rows(surface="elevator")[-8:]} == {"done"}


def test_with_the_leads_left_out_nothing_moves_at_all():
    watched = Watched()
    script = {"leads": ["skip they are soldered"]}
    played = play(script=script, build=watched.build, before=watched.before)
    assert played.code == 1
    assert set(watched.sent.values()) == {0}
    assert not [topic for topic, _ in played.prompts if topic in ("arms off", "which servo")]


@pytest.mark.parametrize("topic", ["class", "arms off", "which servo"])
def test_what_tells_which_servo_moves_cannot_be_left_out(topic):
    played = play(script={topic: ["skip I know"]})
    assert played.code == 0
    assert "may move before" in played.talk


@pytest.mark.parametrize(
    "typed", ["redo nonsense", "redo throws", "redo limits rudder", "skip it"]
)
def test_a_refused_order_moves_nothing_again(typed):
    watched = Watched()
    script = {("which servo", "elevator"): [typed]}
    assert play(script=script, build=watched.build, before=watched.before).code == 0
    first, second = watched.after("which servo", "elevator")
    assert second == first


def test_what_failed_stays_failed_when_it_is_left_out(rows):
    script = {("slop", "rudder"): ["6", "skip no time"], ("mend", "rudder"): ["1"]}
    played = play(script=script)
    assert played.code == 1
    last = rows(step="slop", surface="rudder")[-1]
    assert last["outcome"] == "failed"
    assert last["figures"]["before"]["slop_deg"] == 6.0
    assert "mend" not in last["figures"]
    signed = [line for line in played.lines if line.startswith("failed: rudder: slop")]
    assert len(signed) == 1
    assert "6.0 deg of free play" in signed[0]
    assert "Not looked at again: no time" in signed[0]


def test_left_out_twice_it_is_said_once(rows):
    script = {
        ("slop", "rudder"): ["6", "skip no time", "skip still none"],
        ("mend", "rudder"): ["1"],
        "screws": ["redo slop rudder"],
    }
    assert play(script=script).code == 1
    text = rows(step="slop", surface="rudder")[-1]["text"]
    assert text.count("Not looked at again") == 1
    assert text.endswith("still none")


def test_killed_right_behind_a_fault_what_it_opens_is_done_again(rows, monkeypatch):
    note = Records.note_step

    def killed(self, session_id, subject, step, outcome, *rest):
        row = note(self, session_id, subject, step, outcome, *rest)
        if outcome == "failed":
            raise KeyboardInterrupt  # as soon as it is on the disk
        return row

    with monkeypatch.context() as patched:
        patched.setattr(Records, "note_step", killed)
        ended = play(script={("slop", "rudder"): ["6"], ("mend", "rudder"): ["1"]})
    assert ended.code is None
    assert rows()[-1]["outcome"] == "failed"
    assert play().code == 0
    assert [row["outcome"] for row in rows(step="slop", surface="rudder")] == ["failed", "done"]


def test_orders_while_there_is_no_board_are_answered():
    lost = []

    def before(topic, surface):
        if (topic, surface) == ("throw", "elevator") and not lost:
            lost.append(surface)
            raise LostError("sim:: the board is gone.")

    typed = ["skip x", "redo", "redo throws", "list", "again"]
    played = play(before=before, script={"broken off": typed})
    assert (played.error, played.code) == (None, 0)
    assert played.talk.count("No step is under way. Type again or stop.") == 4


def test_list_and_why_are_answered_while_a_servo_is_measured():
    played = play("--calibration", "quick", script={"": ["list", "why"]})
    assert played.code == 0
    assert any(line.startswith("open     rod") for line in played.lines)
    assert any(line.startswith("left aileron: travel of the servo: ") for line in played.lines)


def test_free_play_is_read_where_a_throw_cannot_be_had(rows):
    def binds(stations):
        station_of(stations, "elevator").free_deg = (-9.0, 9.0)

    script = {("mend", "elevator"): ["leave"] * 9, "reason": ["as it is"] * 9}
    played = play(build=binds, script=script)
    assert played.code == 1
    assert rows(step="slop", surface="elevator")[-1]["outcome"] == "done"
    throws = rows(step="throws", surface="elevator")[-1]
    assert throws["outcome"] == "failed"
    assert throws["figures"]["cause"] == "bare stops early"


def test_neutral_read_too_far_apart_is_read_again_and_said_why(rows):
    played = play(script={("neutral", "rudder"): ["left 2", "right 4"]})
    assert played.code == 0
    assert "come to from the other side" in played.talk
    assert "both are read again" in played.talk
    row = rows(step="neutral", surface="rudder")[-1]
    assert row["outcome"] == "done"
    assert abs(row["figures"]["off_deg"]) < 0.7


def test_the_other_way_than_asked_is_refused_at_a_bare_surface(rows):
    played = play(script={("bare", "elevator"): ["30 down", "down 30"]})
    assert played.code == 0
    assert played.talk.count("This question is about up alone.") == 2
    assert all(
        size > 0
        for size in rows(step="bare", surface="elevator")[0]["figures"]["free_deg"].values()
    )


def test_a_bare_surface_that_moves_otherwise_than_its_file_says_is_told(rows):
    def freer(stations):
        station = station_of(stations, "elevator")
        station.free_deg = tuple(1.4 * size for size in station.free_deg)

    assert play(build=freer).code == 0
    assert "; the model file says up" in rows(step="bare", surface="elevator")[0]["text"]
    assert "model file" not in rows(step="bare", surface="rudder")[0]["text"]


def test_each_step_has_its_place_in_the_list_and_each_throw_its_own():
    played = play(script={("binding", "rudder"): ["redo bare rudder"]})
    heads = [line for line in played.lines if line.startswith("[")]
    assert heads.count("[5/49] rudder: bare surface") == 2
    assert any("point 2 of 5: elevator: where does it stand" in line for line in played.lines)


def test_another_form_of_a_word_is_understood(rows):
    script = {("binding", "rudder"): ["buzzes"], ("mend", "rudder"): ["leave"]}
    assert play(script=script).code == 1
    heard = rows(step="binding", surface="rudder")[0]["figures"]["heard"]
    assert "buzzing" in heard.values()


def test_what_comes_next_is_told_at_the_end(capsys):
    play()
    assert "hingeline handover millrace.toml" in " ".join(capsys.readouterr().out.split())


def test_another_class_is_an_error_of_the_model_file():
    played = play(script={"class": ["different"]})
    assert isinstance(played.error, ModelError)
    assert played.error.exit_code == 3
    assert run("rig", "millrace.toml", "--list").code == 0


def test_a_rod_that_nobody_has_looked_at_keeps_the_surface_still(rows):
    played = play(script={("holes", "rudder"): ["skip in a hurry"]})
    assert played.code == 1
    mine = rows(surface="rudder")
    waits = {row["step"] for row in mine if "waits for rod fitted" in row["text"]}
    assert {"neutral", "direction", "throws", "slop", "binding"} <= waits


def test_one_servo_is_not_believed_to_hang_on_two_channels(rows):
    played = play(script={("which servo", "rudder"): ["E1"]})
    assert played.code == 0
    assert "E1 was seen to move on channel 3" in played.talk
    assert [row["outcome"] for row in rows(step="centre", surface="rudder")] == ["done"]

"""``deadband``, ``listen`` and the level, as a user gives them."""

import re

import pytest

from hingeline.records.store import Records
from tests.cli.running import run

SIM = ("--port", "sim:4", "--yes")
BRIEF = (*SIM, "--hold", "0.5 s", "--step", "100 us")


def kept(folder):
    """Return the newest session, whole."""
    with Records(folder / "records.sqlite") as records:
        return records.session(records.sessions()[0]["id"])


class TestDeadBand:
    def test_figures_and_what_is_kept_of_them(self, folder):
        ran = run("deadband", "millrace.toml", "A1", *SIM, "--json")
        assert ran.code == 0
        figures = ran.figures
        # The drawn servos have 0.1 to 0.6 deg of half gap and 1 to 4 us of dead band.
        assert 2.0 <= figures["dead_band_us"] <= 25.0
        assert 0.0 < figures["dead_band_us_u"] < 3.0
        assert figures["dead_band_deg"] == pytest.approx(0.09 * figures["dead_band_us"])
        assert 0.0 < figures["dead_band_surface_deg"] < figures["dead_band_deg"]
        assert (figures["calibrated"], figures["by_curve_us"]) == (False, None)
        whole = kept(folder)
        assert (whole["command"], whole["outcome"]) == ("deadband", "done")
        assert [(row["kind"], row["figures"]) for row in whole["findings"]] == [
            ("dead band", figures)
        ]
        assert len(whole["remarks"]) == ran.err.count("did the arm move")
        assert {remark["kind"] for remark in whole["remarks"]} == {"answered"}

    def test_beside_the_curve_s_own_difference_where_there_is_one(self, folder):
        del folder
        assert run("calibrate", "millrace.toml", "A1", *SIM).code == 0
        figures = run("deadband", "millrace.toml", "A1", *SIM, "--json").figures
        assert figures["calibrated"]
        assert figures["by_curve_us"] == pytest.approx(figures["dead_band_us"], abs=6.0)
        assert figures["dead_band_deg_u"] > 0.0

    def test_no_more_digits_than_the_servo_has(self):
        ran = run("deadband", "millrace.toml", "A1", *SIM)
        assert re.search(r"Dead band +\d+ us  \(\+/- \d+, 95 %\)", ran.out)
        assert re.search(r"set more closely than \d+\.\d deg\.", ran.out)
        assert not re.search(r"\d\.\d\d", ran.out)

    def test_rods_that_are_on_keep_it_within_what_is_allowed(self, folder):
        text = (folder / "millrace.toml").read_text()
        (folder / "wide.toml").write_text(text.replace("2100 us", "2300 us"))
        on = run("deadband", "wide.toml", "R1", "--at", "2200 us", *SIM)
        assert on.code == 5
        assert "with its rod on it may turn" in on.talk
        assert run("deadband", "wide.toml", "R1", "--at", "2200 us", "--rod-off", *SIM).code == 0

    def test_a_pulse_without_room_for_a_run_up_is_refused_before_anyone_is_asked(self):
        ran = run("deadband", "millrace.toml", "A1", "--at", "2050 us", *SIM)
        assert ran.code == 2
        assert "not within 960 to 2040 us" in ran.talk
        assert "will" not in ran.err

    def test_typed_by_hand_with_what_is_seen_shown(self, folder):
        figures = run("deadband", "millrace.toml", "A1", *SIM, "--json").figures
        words = [remark["figures"]["understood"] for remark in kept(folder)["remarks"]]
        typed = [word if place % 2 else word[0] for place, word in enumerate(words)]
        ran = run("deadband", "millrace.toml", "A1", *SIM, "--by-hand", "--json", typed=typed)
        assert re.findall(r"it seems: (\w+)", ran.err) == words
        assert ran.figures == figures

    def test_stopped_in_the_middle_it_keeps_what_was_typed(self, folder):
        ran = run("deadband", "millrace.toml", "A1", *SIM, "--by-hand", typed=["m", "perhaps"])
        assert ran.code == 130
        assert "'perhaps' is none of: moved, still, again." in ran.talk
        whole = kept(folder)
        assert whole["outcome"] == "stopped by the user"
        assert [remark["text"] for remark in whole["remarks"]] == ["m", "perhaps"]
        understood = [remark["figures"]["understood"] for remark in whole["remarks"]]
        assert understood == ["moved", "not understood"]
        assert whole["findings"] == []


class TestListen:
    def test_a_surface_that_binds_exits_with_1_and_says_the_limits(self, folder):
        ran = run("listen", "millrace.toml", "R1", *BRIEF)
        assert ran.code == 1
        assert "linkage or surface binds" in ran.out
        limits = re.search(r'Limits to set.*: "(\d+) us" to "(\d+) us"', ran.out)
        figures = kept(folder)["findings"][0]["figures"]
        assert figures["pulse_limits_us"] == [int(limits[1]), int(limits[2])]
        assert 900 <= int(limits[1]) < 1500 < int(limits[2]) <= 2100
        assert "Take the rod off" in ran.err
        assert "Put the rod on again" in ran.err

    def test_within_those_limits_nothing_binds(self, folder):
        text = (folder / "millrace.toml").read_text()
        low, high = run("listen", "millrace.toml", "R1", *BRIEF, "--json").figures[
            "pulse_limits_us"
        ]
        (folder / "bound.toml").write_text(
            text.replace('["900 us", "2100 us"]', f'["{low} us", "{high} us"]')
        )
        ran = run("listen", "bound.toml", "R1", *BRIEF)
        assert ran.code == 0
        assert f"Nothing binds from {low} to {high} us" in ran.out

    def test_every_answer_is_kept_with_whether_the_rod_was_on(self, folder):
        run("listen", "millrace.toml", "R1", *BRIEF)
        whole = kept(folder)
        heard = [remark["figures"] for remark in whole["remarks"]]
        assert {remark["rod_on"] for remark in heard} == {True, False}
        at_pulses = {one["understood"] for one in heard if "pulse_us" in one}
        assert at_pulses == {"quiet", "buzzing"}
        rod = [(one["understood"], one["rod_on"]) for one in heard if "pulse_us" not in one]
        assert rod == [("off", True), ("on", False)]
        assert whole["findings"][0]["kind"] == "binding"

    def test_what_is_not_understood_when_the_rod_is_to_come_off_is_kept(self, folder):
        answers = ["quiet", "b", "perhaps", "b", "rod is off", "off"]
        ran = run("listen", "millrace.toml", "R1", *BRIEF, "--by-hand", typed=answers)
        assert ran.code == 130
        remarks = kept(folder)["remarks"]
        assert [remark["text"] for remark in remarks] == answers
        assert remarks[4]["figures"]["understood"] == "not understood"

    def test_with_the_rod_on_it_goes_no_further_than_the_model_allows(self, folder):
        text = (folder / "millrace.toml").read_text()
        (folder / "wide.toml").write_text(text.replace("2100 us", "2300 us"))
        ran = run("listen", "wide.toml", "E1", *BRIEF, "--json")
        low, high = ran.figures["tried_us"]
        assert low == 900
        assert high < 2300
        assert run("step", "wide.toml", "elevator", "--pulse", f"{high} us", *SIM).code == 0
        beyond = run("step", "wide.toml", "elevator", "--pulse", f"{high + 3} us", *SIM)
        assert "with its rod on it may turn" in beyond.talk
        off = run("listen", "wide.toml", "E1", "--rod-off", *BRIEF, "--json")
        assert off.figures["tried_us"] == [900, 2300]

    def test_a_person_is_warned_of_heat_before_anything_moves(self):
        ran = run("listen", "millrace.toml", "R1", *BRIEF)
        assert "pull its plug" in ran.talk.split("Listen to")[0]

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [(["--step", "4 us"], "5 to 200 us"), (["--hold", "9 s"], "0.5 to 5 s")],
    )
    def test_what_is_wrong_in_itself_is_refused(self, arguments, message):
        ran = run("listen", "millrace.toml", "R1", *arguments, *SIM)
        assert ran.code == 2
        assert message in ran.talk


class TestLevel:
    @pytest.mark.parametrize("servo", ["A1", "A2", "E1", "R1"])
    def test_it_calibrates_as_other_gauges_do(self, servo):
        level = run("calibrate", "millrace.toml", servo, "--gauge", "level", *SIM, "--json")
        arm = run("calibrate", "millrace.toml", servo, *SIM, "--json")
        assert level.code == arm.code == 0
        one, other = level.figures, arm.figures
        assert one["rate_deg_per_us"] == pytest.approx(other["rate_deg_per_us"], rel=0.03)
        u = (one["centre_us_u"] ** 2 + other["centre_us_u"] ** 2) ** 0.5
        # The surface shows the rod's error as well, which the arm does not.
        assert abs(one["centre_us"] - other["centre_us"]) < 3.0 * u + 15.0
        # What all readings share is in the centre's doubt: 0.3 deg at the surface.
        assert one["centre_us_u"] > 0.3 / abs(one["rate_deg_per_us"])

    def test_both_answers_about_its_zero_are_kept(self, folder):
        run("calibrate", "millrace.toml", "E1", "--gauge", "level", "--quick", *SIM)
        whole = kept(folder)
        zero = [remark for remark in whole["remarks"] if remark["figures"].get("zero")]
        assert [remark["figures"]["understood"] for remark in zero][1] in ("rises", "falls")
        assert {row["gauge"] for row in whole["readings"]} == {"level"}
        assert {row["unit"] for row in whole["readings"]} == {"deg"}

    def test_a_table_holds_no_levels(self, folder):
        (folder / "a.csv").write_text("pulse_us,approach,reading\n1500,up,0 deg\n")
        ran = run("calibrate", "--readings", "a.csv", "--gauge", "level")
        assert ran.code == 2
        assert "use --gauge deg" in ran.talk


class TestKinds:
    def test_quick_usual_and_thorough(self):
        counts = []
        for how in (["--quick"], [], ["--thorough"]):
            ran = run("calibrate", "millrace.toml", "A1", *how, *SIM, "--json")
            assert ran.code == 0
            counts.append(ran.figures["readings"])
            u = ran.figures["centre_us_u"]
            assert 0.0 < u < 10.0
        assert counts == sorted(set(counts))
        assert counts[0] <= 14
        assert counts[2] >= 80

    @pytest.mark.parametrize("minutes", ["nan", "0", "1e2", "inf", "601", "-3"])
    def test_minutes_are_a_whole_number_of_them(self, minutes):
        ran = run("calibrate", "millrace.toml", "A1", "--minutes", minutes, *SIM)
        assert ran.code == 2
        assert "--minutes" in ran.talk

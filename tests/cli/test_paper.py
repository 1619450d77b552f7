"""`calibrate --readings`: a table noted on paper, fitted without a bench and kept."""

import pytest

from hingeline.bench.simulated.station import stations_of
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.cli import benchwork, paperwork
from hingeline.cli.opening import Opened
from hingeline.cli.output import FAILED
from hingeline.errors import TravelError
from hingeline.records.store import Records
from hingeline.travel.curve import TravelCurve
from tests.cli.running import run, run_fresh

HEADING = "pulse_us,approach,reading"
CLEAN = {1000: -45, 1200: -27, 1400: -9, 1500: 0, 1600: 9, 1800: 27, 2000: 45}
#: A servo that runs into its stops at both ends.
STOPS = {900: -45, 1100: -44, 1300: -30, 1500: 0, 1700: 30, 1900: 44, 2100: 45}


def write(folder, lines, name="a1.csv"):
    (folder / name).write_text("\n".join([HEADING, *lines]) + "\n", "utf-8")


def noted(readings):
    return [f"{pulse},up,{angle} deg" for pulse, angle in readings.items()]


def fitted(*arguments):
    ran = run("calibrate", "--readings", "a1.csv", "--json", *arguments)
    assert ran.code == 0
    return ran.figures


@pytest.mark.parametrize(
    ("slip", "slip_name", "likely", "off"),
    [({1800: 270}, "decimal point", 27.0, 243.0), ({1200: 27}, "sign", -27.0, 54.0)],
)
def test_a_slip_is_named_with_what_was_probably_meant(slip, slip_name, likely, off, folder):
    write(folder, noted({**CLEAN, **slip}))
    figures = fitted()
    # Clean: 0.09 deg/us, centre 1500. Least squares would be drawn to 0.194 and 0.067 deg/us.
    assert figures["rate_deg_per_us"] == pytest.approx(0.09, abs=1e-4)
    assert figures["centre_us"] == pytest.approx(1500.0, abs=0.5)
    assert figures["readings"] == 7  # nothing is dropped
    (suspect,) = figures["suspects"]
    assert (suspect["pulse_us"], suspect["slip"]) == (next(iter(slip)), slip_name)
    assert suspect["likely"] == pytest.approx(likely)
    assert suspect["off_by_deg"] == pytest.approx(off, abs=0.5)
    shown = run("calibrate", "--readings", "a1.csv").out
    assert shown.count("SUSPECT") == 1
    assert f"{likely:g}?" in " ".join(shown.split())
    assert "Given no weight" not in shown  # said once is enough


def test_a_servo_that_meets_its_stops_is_not_bent_beyond_them(folder):
    write(folder, noted(STOPS))
    figures = fitted("millrace.toml", "R1")
    assert figures["limits_us"] == [1100, 1900]
    assert figures["reach_deg"] == pytest.approx([-44, 44], abs=0.5)
    with Records(folder / "records.sqlite") as records:
        curve = TravelCurve.from_dict(records.latest_curve("R1", simulated=False)["curve"])
    assert float(curve.pulse_us(37.0)) == pytest.approx(1774, abs=15)
    with pytest.raises(TravelError):
        curve.pulse_us(46.0)


COMMA = ["1400,up,'-9,5 deg'", "1500,up,'0,5 deg'", "1600,up,'9,5 deg'", "1600,down,'10,5 deg'"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_decimal_commas_and_other_separators(separator, folder):
    quote = '"' if separator == "," else ""
    rows = [(HEADING.replace(",", separator))]
    for line in COMMA:
        pulse, approach, reading = line.split(",", 2)
        rows.append(separator.join([pulse, approach, reading.replace("'", quote)]))
    (folder / "a1.csv").write_text("\r\n".join(rows) + "\r\n", "utf-8-sig")
    figures = fitted()
    assert figures["rate_deg_per_us"] == pytest.approx(0.095, abs=0.001)
    assert figures["readings"] == 4


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("1400,up,-9,5 deg", "4 cells where the heading has 3"),
        ('"1,400",up,-9 deg', "pulse_us: '1,400' is not a whole number"),
        ("1400.5,up,-9 deg", "pulse_us: '1400.5' is not a whole number"),
        ("-1400,up,-9 deg", "pulse_us: '-1400' is not a whole number"),
        ("1.4,up,-9 deg", "pulse_us: '1.4' is not a whole number"),
        ("1500000,up,-9 deg", "pulse_us: 1500000 is not in 300 to 2500 us"),
        ("0,up,-9 deg", "pulse_us: 0 is not in 300 to 2500 us"),
        ("1400,over,-9 deg", "the approach 'over' is not known"),
        ("1400,up,", "''"),
        ("1400,up,-9", "'-9' has no unit"),
        ("1400,up,0", "'0' has no unit"),
        ("1400,up,nan deg", "'nan deg' is not a number"),
        ("1400,up,1e1 deg", "'e1 deg' is not one of"),
        ('1400,up,"1.234,5 deg"', "both a comma and a point"),
        ("1400,up,-9 mm", "'mm' is not one of deg"),
        ("1400,up,up 9 deg", "'up 9 deg'"),
        ('1400,up,"-9 deg', "cannot be read as a line of a table"),
        ("1400,up," + "9" * 200_000 + " deg", "cannot be read as a line of a table"),
    ],
)
def test_a_bad_line_is_named_with_its_place(line, message, folder):
    write(folder, ["1000,up,-45 deg", "", line, "2000,up,45 deg"])
    ran = run("calibrate", "--readings", "a1.csv")
    assert ran.code == TravelError.exit_code
    assert "a1.csv, line 4: " in ran.err
    assert message in ran.talk
    assert "  Next: " in ran.err
    assert ran.out == ""


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "must name the columns"),
        (HEADING + "\n", "no readings below the first line"),
        ("pulse,approach,reading\n1400,up,9 deg\n", "must name the columns"),
        (HEADING + ",pulse_us\n1400,up,9 deg,1500\n", "each once"),
        (HEADING + "\n1400,up,9 deg\n", "readings at 1 pulse"),
        (HEADING + "\n" + "1400,up,9 deg\n" * 10_001, "lines are more than 10000"),
    ],
)
def test_a_table_that_is_none_is_named(text, message, folder):
    (folder / "a1.csv").write_text(text)
    ran = run("calibrate", "--readings", "a1.csv")
    assert ran.code == TravelError.exit_code
    assert "hingeline: a1.csv: " in ran.err
    assert message in ran.talk


def test_other_encodings_are_named(folder):
    (folder / "a1.csv").write_bytes(f"{HEADING}\n1400,up,9 °\n".encode("cp1252"))
    ran = run("calibrate", "--readings", "a1.csv")
    assert "byte 36 is not UTF-8 text" in ran.err
    (folder / "a1.csv").write_text(f"{HEADING}\n" + "\n".join(noted(CLEAN)).replace("deg", "°"))
    assert run_fresh("calibrate", "--readings", "a1.csv").code == 0


def test_a_servo_that_keeps_turning_has_no_curve(folder):
    write(folder, [*noted(CLEAN), "1100,up,turning"])
    ran = run("calibrate", "--readings", "a1.csv")
    assert ran.code == TravelError.exit_code
    assert "a1.csv: At 1100 us the arm kept turning" in ran.talk


def test_readings_at_the_surface_go_through_the_linkage(folder):
    lines = [
        "1300,up,10 deg right",
        "1500,up,0 deg",
        "1700,up,left 10 deg",
        "1700,down,left 10 deg",
    ]
    write(folder, lines)
    needs = run("calibrate", "--readings", "a1.csv", "--gauge", "deg")
    assert needs.code == TravelError.exit_code
    assert "Name the MODEL file and the SERVO" in needs.talk
    figures = fitted("millrace.toml", "R1", "--gauge", "deg")
    # Arm 9 mm, horn 15.5 mm: the arm turns further than the rudder, asin(15.5/9 sin 10) = 17.4.
    assert abs(figures["rate_deg_per_us"]) == pytest.approx(17.4 / 200, rel=0.02)
    write(folder, ["1300,up,10 deg", *lines[1:]])
    ran = run("calibrate", "--readings", "a1.csv", "millrace.toml", "R1", "--gauge", "deg")
    assert "a1.csv, line 2: '10 deg' does not say which way" in ran.talk


def test_it_is_kept_as_typed(folder):
    lines = [
        "1300,up,left 10.5 mm",
        "1500,up,neutral",
        "1700,up,10.5 mm right",
        "1700,down,right 0.4 in",
    ]
    write(folder, lines)
    fitted("millrace.toml", "R1", "--gauge", "drop")
    with Records(folder / "records.sqlite") as records:
        session = records.session(1)
    assert (session["bench"], session["outcome"], session["model"]) == ("none", "done", "Millrace")
    assert [row["typed"] for row in session["readings"]] == [
        line.split(",", 2)[2] for line in lines
    ]
    assert {row["unit"] for row in session["readings"]} == {"mm"}
    sizes = [abs(row["value"]) for row in session["readings"]]
    assert sizes == pytest.approx([10.5, 0.0, 10.5, 10.16])


class RealBench(SimulatedTransport):
    """Stands where a real board stands, for the records and for whoever is asked."""

    name = "/dev/board"
    simulated = False


def test_paper_serves_the_real_bench_and_not_the_simulated_one(folder, monkeypatch):
    slow = {pulse: 0.05 * (pulse - 1500) for pulse in range(900, 2101, 200)}
    write(folder, [f"{p},{way},{a} deg" for p, a in slow.items() for way in ("up", "down")])
    fitted("millrace.toml", "R1")

    simulated = run("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--json")
    assert simulated.figures["surfaces"][0]["calibrated"] is False

    def opened(_ports, _channels, file, _stations):
        return Opened([RealBench(stations_of(file.model, 0))], None, 0)

    monkeypatch.setattr(benchwork, "opened", opened)
    ask = ("throw", "millrace.toml", "rudder", "--port", "/dev/board", "--yes", "--json")
    real = run(*ask, "--throw", "left 10 deg", typed=["left 10"])
    (throw,) = real.figures["surfaces"][0]["throws"]
    assert real.figures["surfaces"][0]["calibrated"] is True
    # At 0.05 deg/us the arm's 17.4 deg need 348 us.
    assert abs(throw["pulse_us"] - 1500) == pytest.approx(348, abs=3)


def test_a_slip_is_named_with_its_line_and_the_text_that_was_probably_meant(folder):
    write(folder, noted({**CLEAN, 1800: 270}))
    told = run("calibrate", "--readings", "a1.csv").talk
    assert "a1.csv, line 7: 270 deg is" in told
    assert "Was 27 deg meant (decimal point)?" in told
    write(folder, noted({**CLEAN, 1200: 27}))
    ran = run("calibrate", "--readings", "a1.csv", "millrace.toml", "R1")
    assert "a1.csv, line 3: 27 deg is" in ran.talk
    assert "Was -27 deg meant (sign)?" in ran.talk
    with Records(folder / "records.sqlite") as records:
        session = records.session(1)
    (remark,) = session["remarks"]
    assert (remark["kind"], remark["figures"]["likely"]) == ("questioned", "-27 deg")
    row = next(row for row in session["readings"] if row["id"] == remark["reading_id"])
    assert row["typed"] == "27 deg"
    write(folder, noted(CLEAN))
    assert "meant" not in run("calibrate", "--readings", "a1.csv").talk


def test_a_servo_that_keeps_turning_is_marked_unfit_until_another_is_calibrated(folder):
    write(folder, [*noted(CLEAN), "2100,up,turning"])
    refused = run("calibrate", "--readings", "a1.csv", "millrace.toml", "A1")
    assert refused.code != 0
    assert "kept turning" in refused.talk
    matched = run("match", "millrace.toml")
    assert "A1 was found unfit for a control surface" in matched.talk
    assert "continuous rotation" in matched.talk
    write(folder, noted(CLEAN))
    assert run("calibrate", "--readings", "a1.csv", "millrace.toml", "A1").code == 0
    assert "unfit" not in run("match", "millrace.toml").talk


def test_a_servo_with_too_wide_a_gap_is_said_to_be_unfit(folder):
    down = [f"{pulse},down,{angle + 6} deg" for pulse, angle in CLEAN.items()]
    write(folder, [*noted(CLEAN), *down])
    ran = run("calibrate", "--readings", "a1.csv")
    assert "UNFIT for a control surface: Its up/down difference is 6.0 deg, over 3 deg" in (
        " ".join(ran.out.split())
    )
    assert ran.code == FAILED
    figures = run("calibrate", "--readings", "a1.csv", "--json").figures
    assert figures["fit"] is False
    assert "up/down difference" in figures["unfit"][0]


def test_a_servo_found_unfit_is_left_off_the_shelf(folder):
    down = [f"{pulse},down,{angle + 6} deg" for pulse, angle in CLEAN.items()]
    for servo in ("A1", "A2", "E1"):
        write(folder, [*noted(CLEAN), *(down if servo == "E1" else [])])
        run("calibrate", "--readings", "a1.csv", "millrace.toml", servo)
    shelf = run("match", "--shelf", "--json").figures
    assert [pair["servos"] for pair in shelf["pairs"]] == [["A1", "A2"]]
    assert shelf["left_out"]["E1"].startswith("it was found unfit for a control surface: Its up")
    write(folder, [*noted(CLEAN), "2100,up,turning"])
    run("calibrate", "--readings", "a1.csv", "millrace.toml", "A1")
    shown = run("match", "--shelf")
    assert shown.code != 0
    assert "A1: it was found unfit" in shown.talk


def test_a_folder_that_cannot_be_made_is_told_before_anything_is_read(folder):
    (folder / "taken").write_text("a file", "utf-8")
    write(folder, noted(CLEAN))
    ran = run("calibrate", "--readings", "a1.csv", "--draw", "taken/inside")
    assert ran.code == 2
    assert "the folder cannot be made" in ran.talk
    assert ran.out == ""
    assert run("calibrate", "--readings", "a1.csv", "--quick").code == 2


def test_the_linkage_s_own_doubt_counts_for_readings_at_the_surface(folder, monkeypatch):
    write(
        folder,
        [
            f"{1500 + 50 * n},{approach},{'up' if n > 0 else 'down'} {abs(n) * 4} deg"
            for n in range(-4, 5)
            for approach in ("up", "down")
        ],
    )
    asked = ("millrace.toml", "E1", "--gauge", "deg", "--resolution", "0.1 deg")
    whole = fitted(*asked)
    monkeypatch.setattr(paperwork, "moved_by_linkage", lambda *_: ())
    without = fitted(*asked)
    assert whole["rate_deg_per_us"] == pytest.approx(without["rate_deg_per_us"])
    assert whole["rate_deg_per_us_u"] > 1.5 * without["rate_deg_per_us_u"]

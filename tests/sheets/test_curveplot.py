"""The picture of a travel curve shows every reading, and what is said of the curve."""

import re
from dataclasses import replace

import numpy as np
import pytest

from hingeline.sheets.curveplot import curve_plot
from hingeline.sheets.files import draw_curve
from hingeline.sheets.page import save
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from tests.sheets import svg
from tests.support.servo_truth import ServoTruth


def read(truth, seed=1, resolution=0.5, points=13):
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=points)
    return truth.read(steps, np.random.default_rng(seed), resolution)


GOOD = read(ServoTruth(0.09, 1512.0, play_deg=0.8, noise_deg=0.1))


def slip(readings):
    """Type one reading ten times as large, and one with the wrong sign."""
    made = list(readings)
    for place, factor in ((3, 10.0), (9, -1.0)):
        wrong = made[place].angle_deg * factor
        made[place] = replace(made[place], angle_deg=wrong, as_typed=f"{wrong:g}")
    return made


CASES = {
    "good": GOOD,
    "bent": read(ServoTruth(-0.1, 1480.0, bend_deg=3.0, play_deg=0.5, noise_deg=0.1), 2),
    "stopped": read(ServoTruth(0.09, play_deg=1.0, noise_deg=0.1, stop_deg=38.0), 3),
    "five points": read(ServoTruth(0.09, 1490.0, play_deg=0.6, noise_deg=0.2), 4, 1.0, 5),
    "slips": slip(GOOD),
    "rising only": [one for one in GOOD if one.approach == "rising"],
    "off centre": read(ServoTruth(0.09, 2300.0, noise_deg=0.1), 5),
    "without spread": read(ServoTruth(0.09), 6, 0.01),
}
each = pytest.mark.parametrize("name", CASES)


def drawn(figure):
    """Return the points of everything that was named, by name and panel."""
    return [
        {line.get_gid(): line.get_xydata() for line in axes.lines if line.get_gid()}
        for axes in figure.axes
    ]


@each
def test_every_reading_is_shown_once_where_it_was_read(name):
    curve = fit(CASES[name])
    figure = curve_plot(name, curve)
    top = drawn(figure)[0]
    shown = np.concatenate([top["readings-rising"], top["readings-falling"]])
    crosses = [
        line.get_xydata()[0] for line in figure.axes[0].lines if line.get_gid() == "suspect"
    ]
    assert len(shown) + len(crosses) == len(curve.readings)
    suspects = {suspect.index for suspect in curve.suspects}
    read_at = {
        (one.pulse_us, one.angle_deg) for n, one in enumerate(curve.readings) if n not in suspects
    }
    assert {tuple(point) for point in shown} == read_at
    for side in ("rising", "falling"):
        ours = {one.pulse_us for one in curve.readings if one.approach == side}
        assert {point[0] for point in top[f"readings-{side}"]} <= ours


@each
def test_nothing_shown_lies_outside_its_panel(name):
    figure = curve_plot(name, fit(CASES[name]))
    for axes in figure.axes:
        (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
        for line in axes.lines:
            if line.get_gid() in ("readings-rising", "readings-falling", "suspect", "curve"):
                x, y = line.get_xydata().T
                seen = np.isfinite(y)
                assert ((x[seen] >= left) & (x[seen] <= right)).all()
                assert ((y[seen] >= low) & (y[seen] <= high)).all()


@each
def test_the_lowest_panel_shows_what_each_reading_is_off(name):
    curve = fit(CASES[name])
    lowest = drawn(curve_plot(name, curve))[2]
    suspects = {suspect.index for suspect in curve.suspects}
    for side in ("rising", "falling"):
        ours = [
            one
            for n, one in enumerate(curve.readings)
            if one.approach == side and n not in suspects
        ]
        approach = side if curve.half_gap_deg is not None else None
        off = {
            (
                one.pulse_us,
                round(one.angle_deg - float(curve.angle_deg(one.pulse_us, approach)), 9),
            )
            for one in ours
        }
        assert {(x, round(y, 9)) for x, y in lowest[f"readings-{side}"]} == off


def test_the_band_in_the_middle_is_the_95_percent_interval():
    curve = fit(GOOD)
    figure = curve_plot("A1", curve)
    (band,) = [part for part in figure.axes[1].collections if part.get_gid() == "interval"]
    outline = band.get_paths()[0].vertices
    middle = drawn(figure)[1]["departure"]
    low, high = curve.interval_deg(1250.0)
    near = outline[np.abs(outline[:, 0] - 1250.0) < 1e-6]
    assert np.ptp(near[:, 1]) == pytest.approx(high - low, rel=1e-6)
    at = middle[np.abs(middle[:, 0] - 1250.0) < 1e-6][0, 1]
    assert near[:, 1].mean() == pytest.approx(at, abs=1e-9)


def test_the_straight_line_is_the_one_whose_largest_departure_is_least():
    curve = fit(CASES["bent"])
    departure = drawn(curve_plot("A1", curve))[1]["departure"][:, 1]
    # Equal alternation: as far above as below, and no tilt can better it.
    assert departure.max() == pytest.approx(-departure.min(), rel=0.02)
    pulses = np.linspace(-1.0, 1.0, len(departure))
    for tilt in (-0.05, 0.05):
        assert np.ptp(departure + tilt * pulses) > np.ptp(departure)


def test_suspects_are_named_with_what_was_typed_and_what_was_meant(tmp_path):
    curve = fit(CASES["slips"])
    assert len(curve.suspects) == 2
    path = tmp_path / "slips.svg"
    save(curve_plot("A1", curve), path)
    said = svg.texts(path)
    for suspect in curve.suspects:
        assert any(suspect.as_typed in text and f"{suspect.likely:g}?" in text for text in said)
    assert any("no weight" in text for text in said)


def test_what_a_stop_does_is_said(tmp_path):
    path = tmp_path / "stopped.svg"
    save(curve_plot("A1", fit(CASES["stopped"])), path)
    stops = [text for text in svg.texts(path) if "on a stop" in text]
    assert sorted(re.findall(r"[\d.]+", " ".join(stops))) == ["37.8", "37.9"]


def test_the_page_is_a5_and_the_same_curve_gives_the_same_file(tmp_path):
    first, second = tmp_path / "a", tmp_path / "b"
    written = [draw_curve(folder, "A1", fit(GOOD)) for folder in (first, second)]
    assert [path.suffix for path in written[0]] == [".svg", ".png"]
    assert svg.size_mm(written[0][0]) == pytest.approx([210.0, 148.0], abs=0.1)
    for one, other in zip(*written, strict=True):
        assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize(
    "label", ["../../A1", "", "$x^2_{$", "line\nbreak", "\u202eA1", "s" * 300]
)
def test_any_label_gives_sound_files_in_the_folder(label, tmp_path):
    folder = tmp_path / "drawings"
    written = draw_curve(folder, label, fit(GOOD))
    assert sorted(folder.iterdir()) == sorted(written)
    assert list(tmp_path.iterdir()) == [folder]
    for path in written:
        assert re.fullmatch(r"[a-z0-9_-]{1,80}\.(svg|png)", path.name)

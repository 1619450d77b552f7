"""The picture of two calibrations shows their difference, and the band that chance has."""

import numpy as np
import pytest

from hingeline.sheets.changeplot import change_plot
from hingeline.sheets.files import draw_change
from hingeline.travel.comparing import compare
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from tests.sheets import svg
from tests.support.servo_truth import ServoTruth


def calibrated(truth, seed, low=1000, high=2000):
    steps = traverse(low, high, limits_us=(900, 2100), start_us=1500)
    return fit(truth.read(steps, np.random.default_rng(seed)))


THEN = ServoTruth(0.09, 1512.0, bend_deg=1.0, play_deg=0.8, noise_deg=0.1)
OLD = calibrated(THEN, 1)
CASES = {
    "same": calibrated(THEN, 2),
    "a tooth": calibrated(ServoTruth(0.09, 1352.0, bend_deg=1.0, play_deg=0.8, noise_deg=0.1), 3),
    "bent": calibrated(ServoTruth(0.09, 1512.0, bend_deg=2.2, play_deg=1.9, noise_deg=0.1), 4),
    "narrower": calibrated(THEN, 5, 1200, 1800),
}
each = pytest.mark.parametrize("name", CASES)


@each
def test_the_lower_panel_shows_now_less_then_and_where_it_is_most_for_its_uncertainty(name):
    new = CASES[name]
    found = compare(OLD, new, teeth=25)
    upper, lower = change_plot("A1", OLD, new, found).axes
    lines = {line.get_gid(): line.get_xydata() for line in lower.lines if line.get_gid()}
    pulses, apart = lines["difference"].T
    assert apart == pytest.approx(new.angle_deg(pulses) - OLD.angle_deg(pulses))
    assert tuple(lines["worst"][0]) == (found.at_us, found.curve.difference)
    assert {line.get_gid() for line in upper.lines} >= {"then", "now"}
    for axes in (upper, lower):
        low, high = axes.get_ylim()
        for part in (*axes.lines, *axes.collections):
            y = (
                part.get_ydata()
                if hasattr(part, "get_ydata")
                else part.get_paths()[0].vertices.T[1]
            )
            assert low < min(y)
            assert max(y) < high


@each
def test_the_band_is_the_one_that_the_comparison_judges_by(name):
    new = CASES[name]
    found = compare(OLD, new, teeth=25)
    lower = change_plot("A1", OLD, new, found).axes[1]
    (band,) = [part for part in lower.collections if part.get_gid() == "chance"]
    x, y = band.get_paths()[0].vertices.T
    near = np.abs(x - found.at_us) < 1e-6
    assert np.abs(y[near]).max() == pytest.approx(found.curve.half_width, rel=1e-6)


@each
def test_what_it_means_is_written_below(name, tmp_path):
    new = CASES[name]
    found = compare(OLD, new, teeth=25)
    written = draw_change(tmp_path, "A1", OLD, new, found)
    assert svg.size_mm(written[0]) == pytest.approx([210.0, 148.0], abs=0.1)
    said = " ".join(svg.texts(written[0]))
    for sentence in found.words or ("Nothing changed by more than is uncertain.",):
        assert sentence.split(":")[0] in said
    assert ("beyond chance" in said) is found.curve.beyond

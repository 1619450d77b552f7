"""Drawings read back from their files: true to scale, legible, the same every time."""

import math
import re
import subprocess
import sys

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.transforms import Bbox

from hingeline.errors import HingelineError
from hingeline.linkage.closure import surface_angle
from hingeline.linkage.mounting import mounted
from hingeline.linkage.plan import plan_surface
from hingeline.model.reading import parse_model
from hingeline.model.words import directions, sign_of
from hingeline.model.writing import example_text
from hingeline.sheets.drawings import linkage_figure
from hingeline.sheets.page import clean, save, scale_that_fits, scale_words
from hingeline.sheets.throwplot import throw_plot
from tests.sheets import svg
from tests.support.models import one

MODEL = parse_model(example_text(), source="example")
TRAVEL = (-54.0, 54.0)
EXAMPLES = [(surface, MODEL.servo_of(surface)) for surface in MODEL.surfaces]
ODD = [
    # locks inside the travel, and a horn hole aft of the hinge line
    one(
        name="steep",
        horn={"hole": 1, "set_back": "3 mm"},
        arm={"holes": ["6 mm", "9 mm", "16 mm"], "hole": 3, "teeth_lean": -2},
        throws={"up": "15 deg", "down": "70 deg"},
        free_travel={"up": "30 deg", "down": "75 deg"},
    ),
    # a spindle that no view looks along
    one(name="oblique", mount={"off": "-5 mm", "along": "12 mm", "spindle": [0.3, 1.0, 0.4]}),
    # one throw out of reach, an upright servo at a fin
    one(
        name="fin",
        kind="rudder",
        side="centre",
        throws={"left": "22 deg", "right": "22 deg"},
        free_travel={"left": "32 deg", "right": "32 deg"},
        horn={"side": "left", "set_back": "-4 mm"},
        mount={"ahead": "90 mm", "off": "2 mm", "spindle": "off", "arm_points": "along+"},
        arm={"teeth_lean": 2},
    ),
    one(name="behind", mount={"ahead": "-70 mm", "off": "5 mm"}),
    one(
        name="large",
        chord="400 mm",
        mount={"ahead": "900 mm"},
        arm={"holes": ["20 mm", "25 mm", "30 mm"], "hole": 2},
        horn={"holes": ["40 mm", "55 mm", "70 mm"], "hole": 2},
    ),
]
ALL = EXAMPLES + ODD


def named(pair):
    return pair[0].name


def parts(pair):
    surface, servo = pair
    return surface, servo, mounted(surface, servo), plan_surface(surface, servo, TRAVEL)


def drawing(pair):
    return linkage_figure(*parts(pair))


def plot(pair):
    surface, _, linkage, plan = parts(pair)
    return throw_plot(surface, linkage, plan, TRAVEL)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Draw once what many tests look at: the figure, and the SVG file that it gives."""
    folder, made = tmp_path_factory.mktemp("drawn"), {}

    def once(pair, draw=drawing):
        key = pair[0].name, draw.__name__
        if key not in made:
            path = folder / f"{len(made)}.svg"
            figure = draw(pair)
            save(figure, path)
            made[key] = figure, path
        return made[key]

    return once


@pytest.mark.parametrize("pair", ALL, ids=named)
def test_hole_to_hole_on_paper_is_the_rod_at_the_stated_scale(pair, drawn):
    *_, plan = parts(pair)
    _, path = drawn(pair)
    scale, *_ = svg.scales(path)
    reached = [word for word, way in plan.ways.items() if way.shaft_deg is not None]
    for word in ["neutral", *reached]:
        first = np.diff(svg.line_mm(path, f"hinge-rod-{word}"), axis=0)[0] / scale
        length = math.hypot(*first)
        if "across-" in path.read_text("utf-8"):
            second = np.diff(svg.line_mm(path, f"across-rod-{word}"), axis=0)[0]
            assert second[0] / scale == pytest.approx(first[0], abs=0.05)
            length = math.hypot(*first, second[1] / scale)
        assert length == pytest.approx(plan.rod_mm, abs=0.05)


def test_only_a_planar_linkage_has_one_view(drawn):
    for pair, expected in ((EXAMPLES[0], False), (EXAMPLES[2], True), (EXAMPLES[3], False)):
        _, path = drawn(pair)
        assert ("across-rod" in path.read_text("utf-8")) == expected


def test_the_page_is_in_true_millimetres(drawn):
    _, path = drawn(EXAMPLES[0])
    bar = svg.line_mm(path, "bar")
    assert math.dist(*bar) == pytest.approx(50.0, abs=0.01)
    width, height = svg.size_mm(path)
    assert width == pytest.approx(297.0, abs=0.01)
    assert height <= 210.01


def test_a_drawing_says_what_a_builder_needs(drawn):
    _, path = drawn(EXAMPLES[0])
    said = svg.texts(path)
    everything = "\n".join(said)
    for words in (
        "left aileron: linkage (servo A1)",
        "neutral",
        "up 15.0 deg",
        "down 11.0 deg",
        "hinge line",
        "spindle",
        "rod 73.8 mm from hole to hole",
        "lean 14.4 deg from square",
        "seen from the model's left, nose to the left",
        "Drawn to scale, mm",
        "Arm hole 1 (6.4 mm from the spindle)",
        "Horn hole 3 (19.0 mm from the hinge line)",
        "mm from the hinge line",
        "servo turns 43.8 deg counter-clockwise, looking at the arm",
    ):
        assert words in everything
    assert [said.count(number) for number in "123"] == [2, 2, 2], "holes of arm and of horn"


def test_warnings_stand_on_the_drawing(drawn):
    pair = ODD[0]
    *_, plan = parts(pair)
    assert plan.warnings
    _, path = drawn(pair)
    everything = " ".join(svg.texts(path))
    for warning in plan.warnings:
        assert f"WARNING: {warning}" in everything


def test_a_throw_out_of_reach_is_named_and_the_other_keeps_its_own_pen(drawn):
    _, path = drawn(ODD[2])
    assert "left 22.0 deg: out of reach, not drawn" in svg.texts(path)
    strokes = {}
    for name, pair, word in (("whole", EXAMPLES[3], "right"), ("part", ODD[2], "right")):
        _, path = drawn(pair)
        text = path.read_text("utf-8")
        strokes[name] = re.search(rf'id="hinge-rod-{word}">.*?stroke: (#\w+)', text, re.DOTALL)[1]
    assert strokes["whole"] == strokes["part"]


@pytest.mark.parametrize("draw", [drawing, plot])
@pytest.mark.parametrize("pair", ALL, ids=named)
def test_words_neither_lie_over_each_other_nor_leave_the_page(pair, draw, drawn):
    figure, _ = drawn(pair, draw)
    page = Bbox([[0, 0], figure.get_size_inches() * figure.dpi])
    boxes = [(text.get_text(), text.get_window_extent()) for text in figure.texts]
    assert len(boxes) > 8
    for index, (text, box) in enumerate(boxes):
        for inside in (page.x0 <= box.x0, box.x1 <= page.x1, page.y0 <= box.y0, box.y1 <= page.y1):
            assert inside, text
        for other, its in boxes[:index]:
            shared = Bbox.intersection(box, its)
            assert shared is None or min(shared.width, shared.height) < 1e-6, (text, other)


@pytest.mark.parametrize("draw", [drawing, plot])
@pytest.mark.parametrize("pair", ALL, ids=named)
def test_no_word_carries_a_sign(pair, draw, drawn):
    _, path = drawn(pair, draw)
    for text in svg.texts(path):
        assert not re.search(r"(?<!\w)[-−+]\s?\d", text), text


def test_throws_differ_by_dashes_and_not_by_colour_alone(drawn):
    _, path = drawn(EXAMPLES[0])
    text = path.read_text("utf-8")
    dashes = set()
    for word in ("neutral", "up", "down"):
        style = re.search(rf'id="hinge-rod-{word}">\s*<path [^>]*style="([^"]*)"', text)[1]
        dashes.add(tuple(re.findall(r"stroke-dasharray: ([\d., ]+)", style)))
    assert len(dashes) == 3


# -- the plot --------------------------------------------------------------------------


@pytest.mark.parametrize("pair", ALL, ids=named)
def test_the_curve_is_the_linkage_and_the_marks_lie_on_it(pair, drawn):
    surface, _, linkage, plan = parts(pair)
    (axes,) = drawn(pair, plot)[0].axes
    lines = {line.get_gid(): line for line in axes.lines if line.get_gid()}
    first = directions(surface)[0]
    label = axes.get_xlabel()
    sense = 1 if label.endswith(" counter-clockwise →") else -1
    x, y = lines["curve"].get_data()
    true = sign_of(surface, first) * np.degrees(surface_angle(linkage, np.radians(sense * x)))
    assert y == pytest.approx(true, abs=1e-9, nan_ok=True)
    assert x[0] == pytest.approx(TRAVEL[0])
    assert x[-1] == pytest.approx(TRAVEL[1])
    assert np.nanargmax(y) > np.nanargmin(y), "the first direction is towards the right"
    marks = [word for word in plan.ways if f"wanted-{word}" in lines]
    assert marks == [word for word, way in plan.ways.items() if way.shaft_deg is not None]
    for word in marks:
        turn, height = (values[0] for values in lines[f"wanted-{word}"].get_data())
        at = sign_of(surface, first) * surface_angle(linkage, math.radians(sense * turn))
        assert math.degrees(at) == pytest.approx(height, abs=1e-6)
        assert abs(height) == pytest.approx(plan.ways[word].wanted_deg)
        low, high = axes.get_xlim()
        assert low < turn < high


def test_the_mirrored_curve_shows_the_difference_of_throws(drawn):
    (axes,) = drawn(EXAMPLES[0], plot)[0].axes
    lines = {line.get_gid(): line for line in axes.lines if line.get_gid()}
    (x, curve), (_, mirror) = lines["beyond"].get_data(), lines["mirror"].get_data()
    up, down = np.interp(40.0, x, curve), -np.interp(-40.0, x, curve)
    assert up - down == pytest.approx(np.interp(40.0, x, curve - mirror), abs=1e-3)
    assert up - down > 1.0, "this aileron goes further up"


def test_the_plot_names_limits_and_where_it_locks(drawn):
    _, path = drawn(ODD[0], plot)
    said = "\n".join(svg.texts(path))
    *_, plan = parts(ODD[0])
    assert f"linkage locks: {abs(plan.locks_deg[0]):.1f} deg" in said
    assert "surface turns back: " in said
    assert said.count("servo's pulse limit: 54.0 deg") == 2
    assert "surface's free travel ends: up 30.0 deg" in said
    assert "surface's free travel ends: down 75.0 deg" in said
    assert "wanted: down 70.0 deg" in said


def test_the_band_round_a_wanted_throw_is_as_high_as_asked():
    surface, _, linkage, plan = parts(EXAMPLES[0])
    (axes,) = throw_plot(surface, linkage, plan, TRAVEL, tolerance_deg=2.5).axes
    heights = [
        patch.get_extents().transformed(axes.transData.inverted()) for patch in axes.patches
    ]
    bands = [(box.y0, box.y1) for box in heights]
    for wanted in (15.0, -11.0):
        assert any(band == pytest.approx((wanted - 2.5, wanted + 2.5)) for band in bands)


# -- files -----------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
@pytest.mark.parametrize("draw", [drawing, plot])
def test_the_same_drawing_gives_the_same_file(ending, draw, tmp_path):
    save(draw(EXAMPLES[2]), tmp_path / f"one{ending}")
    with mpl.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "svg.fonttype": "path"}):
        save(draw(EXAMPLES[2]), tmp_path / f"other{ending}")  # whatever the user has set
    one_file, other = ((tmp_path / f"{name}{ending}").read_bytes() for name in ("one", "other"))
    assert one_file == other
    starts = {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}
    assert one_file.startswith(starts[ending])


def test_drawing_leaves_the_settings_of_matplotlib_alone(tmp_path):
    before = dict(mpl.rcParams)
    save(drawing(EXAMPLES[0]), tmp_path / "a.svg")
    assert dict(mpl.rcParams) == before


DRAWS = """
import sys
import hingeline.sheets
assert "matplotlib" not in sys.modules
from pathlib import Path
from hingeline.linkage.mounting import mounted
from hingeline.linkage.plan import plan_surface
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
import hingeline.sheets.views
assert "matplotlib" not in sys.modules
from hingeline.sheets.drawings import linkage_figure
from hingeline.sheets.page import save
model = parse_model(example_text(), source="example")
surface = model.surfaces[2]
servo = model.servo_of(surface)
plan = plan_surface(surface, servo, (-54.0, 54.0))
save(linkage_figure(surface, servo, mounted(surface, servo), plan), Path(sys.argv[1]))
assert "matplotlib.pyplot" not in sys.modules
for name in ("hingeline.bench", "sqlite3", "serial"):
    assert name not in sys.modules, name
"""


def test_another_process_draws_the_same_and_imports_no_more_than_it_needs(tmp_path):
    command = [sys.executable, "-c", DRAWS, str(tmp_path / "theirs.svg")]
    subprocess.run(command, check=True, timeout=60)
    save(drawing(EXAMPLES[2]), tmp_path / "ours.svg")
    assert (tmp_path / "theirs.svg").read_bytes() == (tmp_path / "ours.svg").read_bytes()


def test_a_scale_is_the_largest_simple_one_that_fits():
    assert scale_that_fits(100.0, 10.0, (270.0, 100.0)) == 2.5
    assert scale_that_fits(500.0, 10.0, (270.0, 100.0)) == pytest.approx(0.5)
    assert scale_that_fits(10.0, 100.0, (270.0, 99.0)) == pytest.approx(1 / 1.5)
    for scale, words in ((1.0, "1:1"), (1.5, "1.5:1"), (20.0, "20:1"), (0.4, "1:2.5")):
        assert scale_words(scale) == words


def test_an_unknown_ending_is_refused_with_those_that_are_known(tmp_path):
    with pytest.raises(HingelineError, match=r"a\.bmp.*\.svg, \.png, \.pdf"):
        save(drawing(EXAMPLES[0]), tmp_path / "a.bmp")


def test_a_file_that_cannot_be_written_is_named_with_the_mend(tmp_path):
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(HingelineError, match=r"a\.svg: the drawing cannot be written") as caught:
        save(drawing(EXAMPLES[0]), tmp_path / "a.svg")
    assert caught.value.mend


def test_a_name_becomes_one_line_without_what_cannot_be_printed():
    assert clean("left\n aileron\t\x00\x1b[31m") == "left aileron [31m"
    assert clean("\u202eliaf \ufffe\ud800x") == "liaf x"
    assert clean("n" * 500) == "n" * 59 + "…"

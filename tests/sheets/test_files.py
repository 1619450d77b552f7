"""Files of one surface: safe names whatever the surface is called, clear errors."""

import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import HingelineError
from hingeline.linkage.mounting import mounted
from hingeline.linkage.plan import plan_surface
from hingeline.sheets.files import draw_surface, slug
from tests.sheets import svg
from tests.support.models import one

TRAVEL = (-54.0, 54.0)
HOSTILE = [
    "../../etc/passwd",
    "a/b\\c:d*e?f",
    "\"quotes\" & 'more' <b>&amp;</text></svg>",
    "$x^2_{$ \\frac",
    "elevator \U0001f600 \U0001f6e9\ufe0f 舵",
    "n" * 500,
    "line\none\ttab\x00nul\x1b[31m",
    "\u202edereverse",
    "CON",
    " . ",
]


def draw(folder, name):
    surface, servo = one(name=name)
    plan = plan_surface(surface, servo, TRAVEL)
    return draw_surface(folder, surface, servo, mounted(surface, servo), plan, TRAVEL)


def test_four_files_are_written_and_named_after_the_surface(tmp_path):
    folder = tmp_path / "new" / "folder"
    written = draw(folder, "left aileron")
    assert [path.name for path in written] == [
        "left-aileron-linkage.svg",
        "left-aileron-linkage.png",
        "left-aileron-throw.svg",
        "left-aileron-throw.png",
    ]
    assert sorted(folder.iterdir()) == sorted(written)
    assert all(path.stat().st_size > 10_000 for path in written)


@pytest.mark.parametrize("name", HOSTILE)
def test_any_name_gives_sound_files_in_the_folder_and_nowhere_else(name, tmp_path):
    folder = tmp_path / "drawings"
    written = draw(folder, name)
    assert sorted(folder.iterdir()) == sorted(written)
    assert list(tmp_path.iterdir()) == [folder]
    # Short names without control characters stand there as they were written.
    title = f"{name}:" if name in HOSTILE[:4] else ":"
    for path in written:
        assert re.fullmatch(r"[a-z0-9_-]{1,80}\.(svg|png)", path.name)
        if path.suffix == ".svg":
            assert svg.parsed(path).tag.endswith("svg")
            assert any(title in text for text in svg.texts(path))


@pytest.mark.parametrize("name", ["Left Aileron", "left-aileron", "left/aileron", "left  aileron"])
def test_a_name_that_looks_like_another_does_not_get_its_files(name, tmp_path, monkeypatch):
    monkeypatch.setattr("hingeline.sheets.files.save", lambda _, path: path.touch())
    theirs, ours = draw(tmp_path, "left aileron"), draw(tmp_path, name)
    assert not set(ours) & set(theirs)
    assert all(path.name.startswith("left-aileron_") for path in ours)


def test_drawing_again_replaces_the_same_files(tmp_path, monkeypatch):
    monkeypatch.setattr("hingeline.sheets.files.save", lambda _, path: path.touch())
    assert draw(tmp_path, "flap") == draw(tmp_path, "flap")
    assert len(list(tmp_path.iterdir())) == 4


@given(st.lists(st.text(max_size=60) | st.text(string.ascii_letters + " -/", max_size=8)))
def test_different_names_give_different_safe_slugs(names):
    slugs = {name: slug(name) for name in names}
    assert len(set(slugs.values())) == len(slugs)
    for made in slugs.values():
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]*(_[0-9a-f]{8})?", made)
        assert len(made) <= 49


def test_a_slug_that_imitates_another_does_not_meet_it():
    assert slug(slug("Left")) != slug("Left")
    assert slug(slug("Left").replace("_", " ")) != slug("Left")


@pytest.mark.parametrize("folder", ["file/below", "file", "nul\x00nul"])
def test_a_folder_that_cannot_be_made_is_an_error_with_a_mend(folder, tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(HingelineError, match="the folder for the drawings cannot be made") as got:
        draw(tmp_path / folder, "flap")
    assert got.value.mend


def test_a_folder_without_leave_to_write_is_an_error_with_a_mend(tmp_path, monkeypatch):
    # Removing the permission would not hold back a superuser, who also runs tests.
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.write_bytes", refuse)
    with pytest.raises(HingelineError, match="Permission denied") as got:
        draw(tmp_path, "flap")
    assert "may write" in got.value.mend

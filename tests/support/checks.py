"""Checks in tests: a model rigged once at the simulated bench, changed, and checked again."""

import json
import shutil
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

import pytest
from click.testing import CliRunner

from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.faults import station_of
from hingeline.bench.simulated.station import well_built
from hingeline.cli import standing
from hingeline.cli.entry import hingeline
from hingeline.errors import HingelineError
from hingeline.linkage.mounting import tooth_deg
from hingeline.model.writing import example_text
from hingeline.records.store import Records
from tests.support.rigging import MODEL, play

#: Which simulated servos.
PORT = "sim:20"
TOOTH_DEG = tooth_deg(MODEL.servo_of(MODEL.surface("elevator")))


@pytest.fixture(scope="module", name="rigged")
def rigged_(tmp_path_factory):
    """Rig the demo's model once; return the file of its records."""
    folder = tmp_path_factory.mktemp("rigged")
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(folder)
        patched.setenv("HINGELINE_RECORDS", str(folder / "records.sqlite"))
        (folder / "millrace.toml").write_text(example_text(), "utf-8")
        played = play(port=PORT)
    assert (played.error, played.code) == (None, 0)
    return folder / "records.sqlite"


@pytest.fixture(name="path")
def path_(rigged, folder):
    """Return a copy of the records of a rigged model, in the test's folder."""
    return shutil.copy(rigged, folder / "records.sqlite")


@contextmanager
def opened(path):
    with Records(path) as records:
        yield records


class Ran:
    def __init__(self, *arguments, typed=(), bench=("--port", PORT, "--yes")):
        self.code = self.error = None
        lines = "".join(f"{line}\n" for line in typed)
        with CliRunner().isolation(input=lines) as streams:
            try:
                self.code = hingeline.main(
                    args=["check", "millrace.toml", *bench, *arguments], standalone_mode=False
                )
            except HingelineError as error:
                self.error = error
            self.out, self.talk = (one.getvalue().decode("utf-8") for one in streams[:2])

    @property
    def figures(self):
        return json.loads(self.out)

    def of(self, name):
        return next(one for one in self.figures["surfaces"] if one["surface"] == name)


@contextmanager
def built(name, change):
    """Check a bench at which one station has changed since it was rigged, whatever the file."""

    def stations(_model, seed):
        found = well_built(MODEL, seed)
        change(station_of(found, name))
        return found

    with patch.object(standing, "sound", stations):
        yield


def otherwise(**parts):
    return lambda station: station.rebuild(Build(**parts))


def servo(**parts):
    def change(station):
        truth = station.servo.truth
        told = {key: value(getattr(truth, key)) for key, value in parts.items()}
        station.servo = station.servo.replaced(replace(truth, **told))

    return change


def changed_model(folder, *changes):
    text = example_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "millrace.toml").write_text(text, "utf-8")


def last_of(records, session, subject, step):
    """Return the newest row of a step in a rig."""
    rows = records.rig_steps(session)
    return [row for row in rows if (row["surface"], row["step"]) == (subject, step)][-1]


def rigged_again(path, session):
    """Keep every step that was done in a rig once more, so that all of it stands again."""
    with opened(path) as records:
        for row in records.rig_steps(session):
            if row["outcome"] == "done" and row["figures"]:
                records.note_step(session, row["surface"], row["step"], "done", "", row["figures"])


def noted_again(path, name, *, session=None, **changes):
    """Keep a record of a surface once more, otherwise than it was."""
    with opened(path) as records:
        row = records.latest_finding("rigged", name, simulated=True)
        figures = {**row["figures"], **changes}
        records.note_finding(session or row["session_id"], "rigged", name, figures)
        return row["session_id"]

"""A whole guided run on the simulated bench, by a builder who makes mistakes."""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.bench.asking import Gauge
from hingeline.bench.simulated import faults
from hingeline.bench.simulated.builder import Builder
from hingeline.bench.simulated.faults import Fault
from hingeline.bench.simulated.station import Station, well_built
from hingeline.cli import models, options
from hingeline.cli.output import emit, table, wrapped
from hingeline.cli.rig import Work
from hingeline.model.reading import parse_model
from hingeline.model.schema import Model, Surface
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, say, sign_of
from hingeline.model.writing import example_text
from hingeline.records.store import Records, Row
from hingeline.travel.matching import TOLERANCE_DEG

PORT = "sim:20"  # the seed: the same servos in every run
GAUGE = Gauge("deg", 0.5)


@dataclass(frozen=True)
class Found:
    """One planted fault, and what the tool made of it.

    Attributes
    ----------
    fault : Fault
    causes : tuple of str
        What was named at its surface, as kept in the records.
    mends : tuple of str
        What was done about it.
    """

    fault: Fault
    causes: tuple[str, ...]
    mends: tuple[str, ...]

    @property
    def named(self) -> bool:
        """Whether it was called by its name."""
        return bool(set(self.fault.causes or (SLIP,)) & set(self.causes))


NEUTRAL = "neutral"
#: What a slip of the pencil is called: it is no fault of the model, and no step fails by it.
SLIP = "mistyped"


def planted() -> tuple[Fault, ...]:
    """Return the mistakes of the demo's builder."""
    return (
        faults.reversed_direction("left aileron"),
        faults.tooth_off(1, "elevator"),
        faults.built("horn 4 mm behind the hinge", "rudder", faults.AFT, ("set-back",)),
        faults.mistyped("right aileron"),
    )


class Guided:
    """The rig of a model by a builder who makes mistakes; all of it kept in a records file.

    Parameters
    ----------
    model_text : str
        The model file.
    mistakes : sequence of Fault
        What is planted.
    records_path : pathlib.Path
    show : callable
        Takes each line that the builder sees.
    port : str
        Of the simulated bench.
    """

    def __init__(
        self,
        model_text: str,
        mistakes: Sequence[Fault],
        records_path: Path,
        show: Callable[[str], None],
        *,
        port: str = PORT,
    ) -> None:
        model = parse_model(model_text, source="millrace.toml")
        self._file = models.ModelFile(Path("millrace.toml"), model_text, model)
        self._mistakes, self._path = tuple(mistakes), records_path
        self._show, self._port = show, port
        self.stations: dict[int, Station] = {}
        self.prompts = 0

    @property
    def model(self) -> Model:
        """The model."""
        return self._file.model

    def play(self) -> dict[str, Any]:
        """Take the rig to its end; return what the command would print as figures.

        Raises
        ------
        HingelineError
            As the rig raises it.
        """
        builders: list[Builder] = []

        def stations(model: Model, seed: int) -> dict[int, Station]:
            self.stations = well_built(model, seed)
            for mistake in self._mistakes:
                mistake.plant(self.stations)
            return self.stations

        def builder(standing: dict[int, Station], seed: int) -> Builder:
            slips = {key: what for one in self._mistakes for key, what in one.slips.items()}
            builders.append(Builder(standing, seed, self._show, slips=slips))
            return builders[-1]

        choices = options.Choices(self._port, self._path, yes=True, by_hand=False)
        work = Work(
            self._file,
            list(self.model.surfaces),
            GAUGE,
            TOLERANCE_DEG,
            "",
            choices,
            "hingeline demo --guided",
            asker=builder,
            stations=stations,
        )
        figures = work.through(afresh=True)
        self.prompts = sum(one.prompts for one in builders)
        return figures

    def found(self) -> list[Found]:
        """Look up in the records what was made of each mistake."""
        with Records(self._path) as records:
            newest = records.newest_rig(self.model.name, simulated=True)
            if newest is None:
                return []
            rows = records.rig_steps(newest["id"])
            whole = records.session(newest["id"])
        corrected = _corrected(whole["readings"], whole["remarks"])
        return [_made_of(fault, rows, corrected) for fault in self._mistakes]

    def true_deg(self, surface: Surface, pulse_us: float, *, rising: bool) -> float:
        """Return where a surface truly stands at a pulse, signed, in degrees."""
        station = faults.station_of(self.stations, surface.name)
        return station.stands_deg(pulse_us, "rising" if rising else "falling")


def _corrected(readings: Sequence[Row], remarks: Sequence[Row]) -> set[str]:
    """Name the surfaces of which a reading was typed again because it was doubted."""
    replaced = {remark["reading_id"] for remark in remarks if remark["kind"] == "replaced"}
    return {reading["surface"] for reading in readings if reading["id"] in replaced}


def _made_of(fault: Fault, rows: Sequence[Row], corrected: set[str]) -> Found:
    if not fault.causes:
        seen = fault.surface in corrected
        return Found(fault, (SLIP,) if seen else (), ("typed again",) if seen else ())
    own = [
        row["figures"]
        for row in rows
        if row["surface"] == fault.surface and "cause" in row["figures"]
    ]
    causes = [figures["cause"] for figures in own]
    mends = [figures["mend"]["name"] for figures in own if "mend" in figures]
    # Told of as about as likely as another cause, it is known by the mend that was taken.
    told = [name for name in mends if name in fault.causes]
    return Found(fault, tuple(dict.fromkeys([*causes, *told])), tuple(mends))


def play(records_path: Path | None, pace_s: float, *, as_json: bool) -> None:
    """Play the guided run for people, and sum up."""
    with tempfile.TemporaryDirectory(prefix="hingeline-") as folder:
        path = records_path or Path(folder) / "records.sqlite"
        guided = Guided(example_text(), planted(), path, _shown(pace_s, quiet=as_json))
        rig = guided.play()
        found = guided.found()
    figures = {
        "model": guided.model.name,
        "pass": rig["pass"],
        "prompts": guided.prompts,
        "planted": [
            {
                "fault": one.fault.name,
                "surface": one.fault.surface,
                "found": list(one.causes),
                "mends": list(one.mends),
            }
            for one in found
        ],
        "surfaces": [dict(row) for row in _truths(guided, rig)],
    }
    emit(figures, as_json=as_json, text=_text(found, figures, records_path))


def _shown(pace_s: float, *, quiet: bool) -> Callable[[str], None]:
    def show(line: str) -> None:
        if quiet:
            return
        if line.startswith("["):
            click.echo("")
            if sys.stdout.isatty():
                time.sleep(pace_s)
        click.echo(wrapped(line))

    return show


def _truths(guided: Guided, rig: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield for each surface what its handed-over pulses truly give."""
    for row in rig["surfaces"]:
        if row["ends_us"] is None:
            continue
        surface = guided.model.surface(row["surface"])
        first, second = directions(surface)
        centre = row["centre_us"]
        # Neutral as it is come to from the second way, like at the bench.
        rising = row["ends_us"][second] < centre
        yield _truth(guided, surface, NEUTRAL, centre, 0.0, rising=rising)
        for word in (first, second):
            pulse = row["ends_us"][word]
            wanted = throw_deg(surface, word)
            yield _truth(guided, surface, word, pulse, wanted, rising=pulse > centre)


def _truth(
    guided: Guided,
    surface: Surface,
    word: str,
    pulse_us: float,
    wanted_deg: float,
    *,
    rising: bool,
) -> dict[str, Any]:
    true = guided.true_deg(surface, pulse_us, rising=rising)
    way = 1 if word == NEUTRAL else sign_of(surface, word)
    return {
        "name": surface.name,
        "at": word,
        "pulse_us": pulse_us,
        "wanted_deg": wanted_deg,
        "true_deg": way * true,
        "true": say(surface, true),
    }


def _text(
    found: Sequence[Found], figures: dict[str, Any], records_path: Path | None
) -> Iterator[str]:
    yield ""
    yield f"What the builder did wrong, and what was found of it, in {figures['prompts']} prompts"
    yield from table(
        ["planted", "where", "named", "done about it"],
        [
            (
                one.fault.name,
                one.fault.surface,
                ", ".join(one.causes) or "-",
                ", ".join(one.mends) or "-",
            )
            for one in found
        ],
    ).splitlines()
    yield ""
    yield "What is true in the end"
    yield from table(
        ["surface", "", ">pulse", ">wanted", ">true"],
        [
            (
                row["name"],
                row["at"],
                units.us(row["pulse_us"]),
                units.deg(row["wanted_deg"]) if row["wanted_deg"] else NEUTRAL,
                row["true"],
            )
            for row in figures["surfaces"]
        ],
    ).splitlines()
    yield wrapped(
        "True: where the modelled surface stands. Model, servos and mistakes are invented."
    )
    if records_path is not None:
        yield f'See all that was typed with: hingeline records list --records "{records_path}"'

"""A guided run by a builder who makes mistakes, and what was made of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hingeline.bench.asking import Gauge
from hingeline.bench.simulated import faults
from hingeline.bench.simulated.builder import Builder
from hingeline.bench.simulated.faults import Fault
from hingeline.bench.simulated.station import Station, well_built
from hingeline.cli import models, options
from hingeline.cli.rig import Work
from hingeline.model.reading import parse_model
from hingeline.model.schema import Model, Surface
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


#: What a slip of the pencil is called: it is no fault of the model, and no step fails by it.
SLIP = "mistyped"


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
    calibration : str
        How the servos' travel is had, as for ``hingeline rig``; empty: the builder is asked, and
        takes what is on record where he can.
    """

    def __init__(
        self,
        model_text: str,
        mistakes: Sequence[Fault],
        records_path: Path,
        show: Callable[[str], None],
        *,
        port: str = PORT,
        calibration: str = "",
    ) -> None:
        model = parse_model(model_text, source="millrace.toml")
        self._file = models.ModelFile(Path("millrace.toml"), model_text, model)
        self._mistakes, self._path = tuple(mistakes), records_path
        self._show, self._port, self._calibration = show, port, calibration
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
            self._calibration,
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

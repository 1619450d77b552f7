"""Who and what stands at a simulated bench when a whole model is rigged or checked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hingeline.bench.choices import Chooser
from hingeline.bench.ports import SIMULATED, candidates, choose
from hingeline.cli.options import Choices
from hingeline.cli.output import tell
from hingeline.model.schema import Model

if TYPE_CHECKING:
    from hingeline.bench.simulated.station import Station


def is_simulated(choices: Choices) -> bool:
    """Tell whether the bench that is meant is a simulated one.

    Raises
    ------
    BenchError
        When it is not clear which bench is meant.
    """
    named = choices.port
    return choose(named, [] if named else candidates()).startswith(SIMULATED)


def builder(stations: dict[int, Station], seed: int) -> Chooser:
    """Return a builder who answers truly, and shows what is asked and answered."""
    from hingeline.bench.simulated.builder import Builder

    return Builder(stations, seed, show=lambda text: tell(f"  {text}" if text else ""))


def sound(model: Model, seed: int) -> dict[int, Station]:
    """Return stations that were built with care."""
    from hingeline.bench.simulated.station import well_built

    return well_built(model, seed)

"""``hingeline demo --guided``: a whole guided run by a builder who makes mistakes."""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.bench.simulated import faults
from hingeline.bench.simulated.faults import Fault
from hingeline.cli.mistakes import Found, Guided
from hingeline.cli.output import emit, table, wrapped
from hingeline.model.schema import Surface
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, say, sign_of
from hingeline.model.writing import example_text

NEUTRAL = "neutral"


def planted() -> tuple[Fault, ...]:
    """Return the mistakes of the demo's builder."""
    return (
        faults.reversed_direction("left aileron"),
        faults.tooth_off(1, "elevator"),
        faults.built("horn 4 mm behind the hinge", "rudder", faults.AFT, ("set-back",)),
        faults.mistyped("right aileron"),
    )


def play(records_path: Path | None, pace_s: float, *, as_json: bool) -> None:
    """Play the guided run for people, and sum up."""
    with tempfile.TemporaryDirectory(prefix="hingeline-") as folder:
        path = records_path or Path(folder) / "records.sqlite"
        show = _shown(pace_s, quiet=as_json)
        guided = Guided(example_text(), planted(), path, show, calibration="quick")
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
        if not line and sys.stdout.isatty():  # before each step
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

"""``hingeline demo``: the main job from end to end, on the simulated bench."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np
from click.core import ParameterSource

from hingeline import kinds, units
from hingeline.bench.asking import Asker, Gauge, Question
from hingeline.bench.procedures.calibrating import calibrate
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.procedures.pairing import PairCheck, check_pair
from hingeline.bench.procedures.throwing import Throw, send_throws
from hingeline.bench.simulated.station import Station
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import Bench, at_bench, channels_of, default_records
from hingeline.cli.calibrate import bench_calibration
from hingeline.cli.calibrated import curve_figures, keep
from hingeline.cli.output import emit, table, tell
from hingeline.cli.pair import pair_figures, pair_text
from hingeline.cli.planned import closing_text, planned_surfaces, surface_text
from hingeline.cli.throw import throw_figures
from hingeline.model.reading import parse_model
from hingeline.model.schema import Surface
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, say
from hingeline.model.writing import example_text
from hingeline.travel.curve import TravelCurve
from hingeline.travel.setting import Setting, setting_of

PORT = "sim:20"  # the seed: the same servos in every run
PROTRACTOR = Gauge("arm", 0.5)
LEVEL = Gauge("deg", 0.1)  # a digital level on the surface
HOLD_S = 2.0
PACE_S = 0.3


@dataclass(frozen=True)
class Told:
    """What the demo found out of one surface, beside what is really so.

    Attributes
    ----------
    setting : Setting
        The surface, with the curve fitted from the stand-in's readings.
    curve : TravelCurve
        That curve.
    curve_error_deg : float
        Greatest difference between curve and the modelled servo, over the measured range
        and both approaches.
    throws : list of Throw
        Wanted, predicted and measured.
    true_deg : list of float
        Where the surface really stood at each throw, signed.
    """

    setting: Setting
    curve: TravelCurve
    curve_error_deg: float
    throws: list[Throw]
    true_deg: list[float]

    @property
    def surface(self) -> Surface:
        """The surface concerned."""
        return self.setting.surface


class _Watched:
    """An asker that notes where the surfaces really stood whenever a question was put."""

    def __init__(self, asker: Asker, stations: dict[int, Station]) -> None:
        self._asker = asker
        self._stations = stations
        self.true_deg: list[float] = []

    def ask(self, question: Question) -> str:
        self.true_deg.append(self._stations[question.channel].surface_deg)
        return self._asker.ask(question)

    def tell(self, _text: str) -> None:
        """Say nothing: the demo shows tables instead."""

    def pause(self, text: str) -> None:
        self._asker.pause(text)

    def agree(self, text: str) -> bool:
        return self._asker.agree(text)


@click.command("demo", short_help="Play the whole job on the simulated bench.")
@click.option(
    "--guided",
    is_flag=True,
    help="Play a whole guided run instead, by a builder who makes mistakes that are found.",
)
@click.option(
    "--pace",
    type=options.Quantity(units.TIME, 0.0, 60.0),
    default=None,
    metavar="TIME",
    help=f"With --guided, on a terminal: rest before each step; default: {PACE_S:g} s.",
)
@options.records_option
@options.json_option
def command(guided: bool, pace: float | None, records_path: Path | None, as_json: bool) -> None:
    """Play the whole job on the simulated bench.

    Plans the invented trainer "Millrace", centres and calibrates its four servos, sends
    the throws, measures them, and checks the aileron pair. The servos are modelled, with
    faults as real ones have; the board's firmware is the real one. Nothing moves but
    numbers.

    \b
    Examples:
      hingeline demo
      hingeline demo --guided
    """
    if pace is not None and not guided:
        raise click.UsageError("--pace belongs to --guided.")
    if guided:
        from hingeline.cli.guided import play

        tell("A guided run on the simulated bench. Model, servos and mistakes are invented.")
        # What is on record of other work would change what is shown here.
        source = click.get_current_context().get_parameter_source("records_path")
        named = records_path if source is ParameterSource.COMMANDLINE else None
        play(named, PACE_S if pace is None else pace, as_json=as_json)
        return
    path = records_path or default_records().with_name("demo.sqlite")
    text = example_text()
    model = parse_model(text, source="millrace.toml")
    file = models.ModelFile(Path("millrace.toml"), text, model)
    tell("The job on the simulated bench. The model and all figures are invented.")
    if not as_json:
        click.echo(f"Plan of {model.name}")
        for item in planned_surfaces(file):
            click.echo("\n".join(["", *surface_text(item)]))
        click.echo("\n".join(["", *closing_text(), ""]))
    choices = options.Choices(PORT, path, yes=True, by_hand=False)
    channels = channels_of(file, model.surfaces)
    with at_bench(choices, "demo", channels, file, doing="be worked through the job") as bench:
        told, check, pair_error = _play(bench, file)
    left, right = (model.surface(name) for name in (model.pairs[0].left, model.pairs[0].right))
    emit(
        _figures(told, left, right, check, pair_error, path),
        as_json=as_json,
        text=_text(told, left, right, check, pair_error, path),
    )


def _play(bench: Bench, file: models.ModelFile) -> tuple[list[Told], PairCheck, float]:
    model, stations = file.model, bench.stations or {}
    channels = channels_of(file, model.surfaces)
    watched = _Watched(_silent(bench.asker, stations), stations)
    told = []
    settings: dict[str, Setting] = {}
    with in_use(bench.board, channels):
        tell(f"Centring: {len(channels)} servos stand at their centre.")
        bench.board.centre([channel.number for channel in channels])
        bench.board.wait(HOLD_S)
        for number, surface in enumerate(model.surfaces, start=1):
            tell(f"Calibrating and measuring {surface.name} ({number} of {len(channels)})")
            curve = _calibrated(bench, file, surface, watched)
            setting = setting_of(surface, model.servo_of(surface), curve)
            settings[surface.name] = setting
            told.append(_measured(bench, setting, curve, watched, stations[surface.channel]))
        pair = model.pairs[0]
        tell(f"Checking the pair {pair.left} / {pair.right}")
        watched.true_deg.clear()
        left, right = settings[pair.left], settings[pair.right]
        check = check_pair(
            bench.board, left, right, pair.moves, LEVEL, watched, noting.surface_note(bench, LEVEL)
        )
        figures = pair_figures(left.surface, right.surface, check)
        bench.records.note_finding(
            bench.session_id, kinds.PAIR, f"{pair.left} / {pair.right}", figures
        )
    return told, check, _pair_error_deg(left.surface, check, watched.true_deg)


def _silent(asker: Asker, stations: dict[int, Station]) -> Asker:
    """Return the stand-in without its talk: a hundred answers scroll a table away."""
    from hingeline.bench.simulated.standin import StandIn

    return StandIn(stations, seed=0) if isinstance(asker, StandIn) else asker


def _calibrated(
    bench: Bench, file: models.ModelFile, surface: Surface, watched: _Watched
) -> TravelCurve:
    setting = setting_of(surface, file.model.servo_of(surface), None)
    curve = calibrate(
        bench.board,
        bench_calibration(setting, PROTRACTOR),
        watched,
        noting.step_note(bench, surface.servo, PROTRACTOR, surface),
    )
    found = keep(
        bench.records,
        bench.session_id,
        surface.servo,
        curve,
        simulated=True,
        teeth=setting.servo.spline_teeth,
    )
    return found.curve


def _measured(
    bench: Bench, setting: Setting, curve: TravelCurve, watched: _Watched, station: Station
) -> Told:
    surface = setting.surface
    watched.true_deg.clear()
    asked = [(word, throw_deg(surface, word)) for word in directions(surface)]
    throws = send_throws(
        bench.board, setting, asked, LEVEL, watched, noting.surface_note(bench, LEVEL)
    )
    figures = throw_figures(setting, throws, LEVEL)
    bench.records.note_finding(bench.session_id, kinds.THROW, surface.name, figures)
    return Told(setting, curve, _curve_error_deg(curve, station), throws, [*watched.true_deg])


def _curve_error_deg(curve: TravelCurve, station: Station) -> float:
    pulses = np.linspace(*curve.limits_us, 121)
    worst = 0.0
    for approach in ("rising", "falling"):
        truth = [station.servo.truth.shaft_deg(pulse, approach) for pulse in pulses.tolist()]
        worst = max(worst, float(np.abs(curve.angle_deg(pulses, approach) - truth).max()))
    return worst


def _pair_error_deg(left: Surface, check: PairCheck, true_deg: list[float]) -> float:
    """Return the greatest difference between the mismatches reported and the true ones."""
    sense = 1.0 if say(left, 10.0).startswith(directions(left)[0]) else -1.0
    lefts = [sense * value for value in true_deg[0::2]]
    rights = [sense * value for value in true_deg[1::2]]
    matching = lefts[::-1] if check.moves == "opposite" else lefts
    return max(
        abs(item.difference_deg - (one - other))
        for item, one, other in zip(check.mismatches, matching, rights, strict=True)
    )


def _figures(
    told: list[Told],
    left: Surface,
    right: Surface,
    check: PairCheck,
    pair_error: float,
    path: Path,
) -> dict[str, Any]:
    surfaces = []
    for item in told:
        figures = throw_figures(item.setting, item.throws, LEVEL)
        for row, throw, true in zip(figures["throws"], item.throws, item.true_deg, strict=True):
            row["true_deg"] = true if throw.wanted_deg >= 0 else -true
        figures["curve"] = curve_figures(item.surface.servo, item.curve)
        figures["curve"]["worst_error_deg"] = item.curve_error_deg
        surfaces.append(figures)
    return {
        "model": "Millrace",
        "surfaces": surfaces,
        "pair": {**pair_figures(left, right, check), "mismatch_error_deg": pair_error},
        "records": str(path),
    }


def _text(
    told: list[Told],
    left: Surface,
    right: Surface,
    check: PairCheck,
    pair_error: float,
    path: Path,
) -> Iterator[str]:
    yield "Servos, as calibrated with a half-degree protractor; worst error: curve to truth"
    rows = [
        (
            f"{item.surface.servo}, {item.surface.name}",
            "-" if item.curve.centre_us is None else units.us(item.curve.centre_us),
            f"{item.curve.rate_deg_per_us:+.4f} deg/us",
            units.deg(item.curve.hysteresis_deg or 0.0),
            str(len(item.curve.readings)),
            f"{item.curve_error_deg:.2f} deg",
        )
        for item in told
    ]
    headings = [
        "servo",
        ">centre",
        ">rate",
        ">up/down gap",
        ">readings",
        ">worst error",
    ]
    yield from table(headings, rows).splitlines()
    yield ""
    yield "Throws, as sent through linkage and travel curve"
    headings = ["surface", "", ">pulse", ">wanted", ">predicted", ">measured", ">true", ">error"]
    yield from table(headings, _throw_rows(told)).splitlines()
    yield "True: where the modelled surface really stood. Error: true less wanted."
    yield ""
    yield "Aileron pair, as a radio would move it"
    yield from pair_text(left, right, check)
    yield f"The mismatches reported are within {pair_error:.2f} deg of the true ones."
    yield ""
    yield f"Everything typed and made of it is kept in {path}"
    yield f'See it with: hingeline records list --records "{path}"'


def _throw_rows(told: list[Told]) -> Iterator[tuple[str, ...]]:
    for item in told:
        for throw, true in zip(item.throws, item.true_deg, strict=True):
            way = 1.0 if throw.wanted_deg >= 0 else -1.0
            yield (
                item.surface.name,
                throw.word,
                units.us(throw.pulse_us),
                units.deg(way * throw.wanted_deg),
                units.deg(way * throw.predicted_deg),
                units.deg(way * throw.measured_deg),
                units.deg(way * true),
                f"{way * (true - throw.wanted_deg) + 0.0:+.1f} deg",
            )

"""What is on record of a surface that is to be checked, and what is wrong with that."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hingeline.cli import options, standing
from hingeline.cli.models import ModelFile
from hingeline.cli.output import quoted
from hingeline.cli.records.place import existing
from hingeline.cli.records.wording import model_of
from hingeline.cli.rigstate import rig_of
from hingeline.errors import HingelineError, RecordsError, TravelError
from hingeline.kinds import RIGGED
from hingeline.model.schema import Model, Surface
from hingeline.model.words import directions
from hingeline.records.store import Records, Row
from hingeline.rigging.steps import pair_name, step_named
from hingeline.rigging.threepoints import of_record


@dataclass(frozen=True)
class OnRecord:
    """The newest record of a surface.

    Attributes
    ----------
    figures : dict
        As noted when it was rigged.
    noted : str
        When that was.
    pulses_us : list of int
    then_deg : tuple of float
        At the three points, positive in the surface's first direction.
    model : Model or None
        As its file was then; None: that cannot be read any more.
    altered : tuple of str
        The parts of the file, as people call them, that have changed since.
    wrong : tuple of str
        What was not as wanted when it was rigged.
    again : str
        The command that rigs it.
    """

    figures: Row
    noted: str
    pulses_us: list[int]
    then_deg: tuple[float, ...]
    model: Model | None
    altered: tuple[str, ...]
    wrong: tuple[str, ...]
    again: str

    @property
    def boards(self) -> tuple[str, ...]:
        """Numbers of the boards with which it was rigged."""
        return tuple(self.figures.get("boards", ()))


def on_record(
    file: ModelFile, chosen: Sequence[Surface], choices: options.Choices
) -> tuple[dict[str, OnRecord], dict[str, HingelineError]]:
    """Return the newest record of each surface, and why some cannot be checked. Nothing moves.

    Raises
    ------
    RecordsError
        When none can be checked: never rigged, or with another servo, or not at all three
        points.
    TravelError
        Likewise, when a recorded pulse is beyond the servo's limits now.
    """
    simulated = standing.is_simulated(choices)
    found: dict[str, OnRecord] = {}
    refused: dict[str, HingelineError] = {}
    with existing(choices.records_path) as records:
        for surface in chosen:
            try:
                found[surface.name] = _newest(file, surface, records, simulated=simulated)
            except (RecordsError, TravelError) as error:
                refused[surface.name] = error
    if not found:
        raise next(iter(refused.values()))
    return found, refused


def _newest(file: ModelFile, surface: Surface, records: Records, *, simulated: bool) -> OnRecord:
    name = surface.name
    own = records.finding_history(
        RIGGED, name, simulated=simulated, limit=1, model=file.model.name
    )
    command = f'hingeline rig {quoted(str(file.path))} "{name}"'
    again = f"Rig it: {command}"
    if not own:
        raise RecordsError(
            f"{name}: there is no record of it to compare with.",
            cause="It was not rigged to its end on this sort of bench.",
            mend=again,
        )
    figures = own[0]["figures"]
    try:
        pulses, then = of_record(figures)
    except KeyError as lacking:
        raise RecordsError(
            f"{name}: its record lacks the reading at {lacking.args[0]}.", mend=again
        ) from None
    if figures["servo"] != surface.servo:
        raise RecordsError(
            f"{name}: its record is of servo {figures['servo']}; the model file says "
            f"{surface.servo} now.",
            mend=again,
        )
    words = tuple(figures.get("words", directions(surface)))
    if words != directions(surface):
        raise RecordsError(
            f"{name}: its record is of a surface that goes {' and '.join(words)}; by the model "
            f"file it goes {' and '.join(directions(surface))} now.",
            mend=again,
        )
    low, high = file.model.servo_of(surface).pulse_limits_us
    for pulse in pulses:
        if not low <= pulse <= high:
            raise TravelError(
                f"{name}: it was rigged with {pulse} us, outside the {low} to {high} us that the "
                "model file allows now.",
                mend=again,
            )
    number = own[0]["session_id"]
    rig = rig_of(file.model, records, number)
    return OnRecord(
        figures,
        own[0]["noted"],
        pulses,
        then,
        model_of(records.session(number)),
        tuple(rig.changed(surface)),
        tuple(_wrong(file.model, name, figures, rig.rows)),
        command,
    )


def _wrong(model: Model, name: str, figures: Row, rows: Sequence[Row]) -> Iterator[str]:
    """Say what the rig left failed, or opened again, about a surface and its pairs."""
    subjects = [name, *(pair_name(one) for one in model.pairs if name in (one.left, one.right))]
    last = {row["step"]: row for row in rows if row["surface"] in subjects}
    left = {step: row for step, row in last.items() if row["outcome"] in ("failed", "reopened")}
    if not figures["pass"] and "throws" not in left:
        yield "throws missed"
    for step, row in left.items():
        yield f"{step_named(step).title}: {row['text'] or row['outcome']}".rstrip(".")

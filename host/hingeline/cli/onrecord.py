"""What is on record of a surface that is to be checked, and what is wrong with that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.cli import options, standing
from hingeline.cli.models import ModelFile
from hingeline.cli.output import quoted
from hingeline.cli.records.place import existing
from hingeline.cli.records.wording import model_of
from hingeline.cli.rigstate import RigState, newest_of, rig_of
from hingeline.errors import HingelineError, RecordsError, TravelError
from hingeline.kinds import RIGGED
from hingeline.model.schema import Model, Surface
from hingeline.model.words import directions
from hingeline.records.store import Records, Row
from hingeline.rigging.remaining import sentences
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
        What was not as wanted when it was rigged, was left out, or is to be done again.
    newer : tuple of str
        That a rig was begun since in place of the record, and what of that is left.
    rig : RigState
        The newest rig that has to do with it.
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
    newer: tuple[str, ...]
    rig: RigState
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
    made = rig_of(file.model, records, number)
    newest = newest_of(file.model, records, simulated=simulated)
    rig = newest if newest is not None and newest.touched(surface) else made
    newer: tuple[str, ...] = ()
    if rig.number != made.number:
        newer = (
            f"its figures are of an earlier rig; a new one was begun on {rig.begun[:10]}.",
            *sentences(rig.left(surface), ()),
        )
    altered = tuple(made.changed(surface))
    return OnRecord(
        figures,
        own[0]["noted"],
        pulses,
        then,
        model_of(records.header(number)),
        altered,
        tuple(_wrong(surface, figures, made, altered)),
        newer,
        rig,
        command,
    )


def _wrong(surface: Surface, figures: Row, rig: RigState, altered: Sequence[str]) -> list[str]:
    """Say what the rig left failed, left out or open about a surface and its pair."""
    left = rig.left(surface)
    failed = [one.item.step.name for one in left if one.state == "failed"]
    missed = not figures["pass"] and "throws" not in failed
    # A change of the file is said by itself, here or for the whole rig, not with what rests on it.
    changed = altered or rig.changed_of_model
    told = [one for one in left if not (changed and one.follows)]
    return [
        *(["throws missed"] if missed else []),
        *(one.rstrip(".") for one in sentences(told, ())),
    ]

"""A surface by all that is on record of it: what a guided run has found, and its servo's curve."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from hingeline import kinds
from hingeline.bench.rigging.asbuilt import AsBuilt, built_of, still_holds, trimmed
from hingeline.cli.curves import CurveOnRecord, curve_row_of, nominal_of
from hingeline.cli.models import ModelFile
from hingeline.model.schema import Surface
from hingeline.records.store import Records, Row
from hingeline.travel.setting import Setting
from hingeline.travel.setting import setting_of as put_together


@dataclass(frozen=True)
class Known:
    """A surface as it is known to be.

    Attributes
    ----------
    setting : Setting
        With holes, set-back and free travel as found, and the curve with seat and trim.
    row : CurveOnRecord or None
        Its servo's curve; None: the maker's rate is used.
    remarks : tuple of str
        What whoever relies on it should know, in sentences.
    """

    setting: Setting
    row: CurveOnRecord | None
    remarks: tuple[str, ...]


def setting_of(
    records: Records | None, file: ModelFile, surface: Surface, *, simulated: bool
) -> Known:
    """Put a surface and its servo's curve together by all that is known.

    Without records, or when nothing is there, that is what the model file says.

    Raises
    ------
    ModelError, LinkageError
        When this makes no linkage.
    TravelError
        When a curve cannot be used with its seat or trim.
    """
    servo = file.model.servo_of(surface)
    if records is None:
        return Known(put_together(surface, servo, None), None, ())
    row = curve_row_of(records, surface.servo, simulated=simulated)
    curve = row.curve if row else nominal_of(records, surface.servo, servo, simulated=simulated)
    found = built_row_of(records, file.model.name, surface.name, simulated=simulated)
    built, remarks = AsBuilt(), list(_of_curve(records, file, surface.servo, row))
    if found is not None:
        built, changed = still_holds(built_of(found["figures"]), file.model, surface.name)
        remarks += _of_build(surface, found["noted"][:10], built, changed)
    plain = put_together(built.surface(surface), servo, curve)
    setting = Setting(plain.surface, servo, plain.linkage, trimmed(plain.curve, built.trim_us))
    return Known(setting, row, tuple(remarks))


def built_row_of(
    records: Records, model: str, surface: str, *, simulated: bool, but_rig: int | None = None
) -> Row | None:
    """Return the newest that a guided run kept of how a surface is built; None: there is none.

    ``but_rig`` is a rig that does not count.
    """
    rows = records.finding_history(kinds.BUILT, surface, simulated=simulated, model=model)
    return next((row for row in rows if row["figures"]["rig"] != but_rig), None)


def _of_curve(
    records: Records, file: ModelFile, servo: str, row: CurveOnRecord | None
) -> Iterator[str]:
    if row is None:
        return
    model = records.header(row.session_id)["model"]
    if model not in (None, file.model.name):
        yield (
            f"The curve of {servo} was measured on {row.noted[:10]} on {model}, "
            f"session {row.session_id}."
        )
    if row.unread:
        yield (
            f"The arm of servo {servo} was put on anew after its curve was measured, and its "
            "lean was not read: every angle may be off."
        )


def _of_build(surface: Surface, day: str, built: AsBuilt, changed: str) -> Iterator[str]:
    if changed:
        yield (
            f"{surface.name}: the model file has changed in {changed} since it was rigged on "
            f"{day}; what was found then of holes, set-back, trim or free travel is left out "
            "where it rests on that."
        )
    words = {"arm_hole": "arm hole {:g}", "horn_hole": "horn hole {:g}"}
    words["set_back_mm"] = "set-back {:g} mm"
    parts = [words[key].format(size) for key, size in built.holes.items()]
    if built.trim_us:
        parts.append(f"neutral trimmed by {built.trim_us:+.0f} us")
    if parts:
        yield f"{surface.name}: counted in as found when rigged on {day}: {', '.join(parts)}."

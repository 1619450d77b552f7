"""What a board keeps, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict

from hingeline.bench.keeping import BoardSettings, Kept
from hingeline.cli.output import table, wrapped

#: What each setting of the whole board is, by its name in ``BoardSettings``.
NAMES = {
    "frame_hz": "frames per second at the start",
    "hold_s": "motion stops when the computer is silent for",
    "off_s": "pulses stop when the computer is silent for",
    "period_s": "the button's sweep, to and fro",
    "shape": "shape of that sweep",
    "knob": "knob",
    "rail_full_v": "servo supply at which its input reads full",
    "rail_low_v": "servo supply below which pulses stop",
}

#: What the usual settings mean for servos; a test holds it equal to what a board does.
USUAL = "the button works every channel as a standard servo, 1000 to 2000 us, centre 1500 us"


def shown(name: str, value: float | str | bool) -> str:
    """Say the value of a setting, named as in ``BoardSettings``."""
    if name == "knob":
        return "fitted" if value else "not fitted"
    if name == "rail_full_v" and not value:
        return "not measured"
    if name == "rail_low_v" and not value:
        return "none"
    unit = {"hz": " Hz", "s": " s", "v": " V"}.get(name.rpartition("_")[2], "")
    return f"{value:g}{unit}" if isinstance(value, (int, float)) else str(value)


def described(what: Kept | None) -> str:
    """Say what the button does with a channel."""
    if what is None:
        return "the button leaves it alone"
    low, high = what.limits_us
    return (
        f"{what.pulse_class}, {low} to {high} us, centre {what.centre_us} us, "
        f"at most {what.slew_us_per_s} us/s"
    )


def text(
    port: str, source: str, settings: BoardSettings, kept: Mapping[int, Kept | None]
) -> Iterator[str]:
    """Lay out all that a board keeps."""
    where = {
        "usual": "the usual ones; nothing was kept",
        "kept": "those kept on it",
        "damaged": "the usual ones, without channels: WHAT WAS KEPT CANNOT BE READ",
    }
    yield wrapped(f"The settings of the board at {port} are {where.get(source, source)}.")
    width = max(map(len, NAMES.values())) + 2
    for name, value in asdict(settings).items():
        yield f"  {NAMES[name]:{width}}{shown(name, value)}"
    yield ""
    yield "What the button does with each channel:"
    rows = [
        (
            str(number),
            what.pulse_class,
            f"{what.limits_us[0]} us",
            f"{what.centre_us} us",
            f"{what.limits_us[1]} us",
            f"{what.slew_us_per_s} us/s",
        )
        if what
        else (str(number), "left alone", "", "", "", "")
        for number, what in kept.items()
    ]
    headings = [">channel", "class", ">low", ">centre", ">high", ">slew at most"]
    yield from table(headings, rows).splitlines()
    if source == "damaged":
        yield wrapped(
            "Keep them anew, as a model file has the servos: hingeline board settings --from MODEL"
        )
        yield wrapped(f"With standard servos alone ({USUAL}): hingeline board settings --usual")

"""A board's refusals in the words and units of people; the wire speaks in codes and ns."""

from __future__ import annotations

from collections.abc import Callable

from hingeline.errors import BenchError
from shared_protocol.errors import LocalProtocolError
from shared_protocol.host_session import Refusal

#: What a key of the wire means, where its name with a blank would not say it.
_NAMES = {
    "centre_ns": "the centre",
    "dwell_ms": "the wait at each pulse",
    "frame_hz": "the frame rate",
    "hold_ms": "the silence until motion stops",
    "high_ns": "the upper end",
    "lag_ms": "the lag",
    "low_ns": "the lower end",
    "off_ms": "the silence until pulses stop",
    "period_ms": "the period",
    "ramp_ms": "the time to get there",
    "rail_full_mv": "the supply at which the input reads full",
    "rail_low_mv": "the lowest supply",
    "slew_ns_per_ms": "the slew",
}
#: Ending of a key, how many wire units a unit for people is, that unit.
_UNITS = (
    ("_ns_per_ms", 1, " us/s"),
    ("_ns", 1000, " us"),
    ("_ms", 1000, " s"),
    ("_mv", 1000, " V"),
    ("_hz", 1, " Hz"),
)
#: What a user says it by, for values that have to stand in order.
_OPTIONS = {
    "hold_ms": "Correct --hold or --off; what is not said stays as it is kept.",
    "off_ms": "Correct --off or --hold; what is not said stays as it is kept.",
    "rail_low_mv": "Correct --rail-low or --rail-full; what is not said stays as it is kept.",
}
_WORDS: dict[str, Callable[[Refusal], tuple[str, str]]] = {
    "below_limit": lambda no: (
        f"{us(no.value)} is below {us(no.limit)}, the low limit of channel {no.ch}",
        "Stay inside the limits of the servo.",
    ),
    "above_limit": lambda no: (
        f"{us(no.value)} is above {us(no.limit)}, the high limit of channel {no.ch}",
        "Stay inside the limits of the servo.",
    ),
    "class_limit": lambda no: (
        f"{us(no.value)} on channel {no.ch} is outside its pulse class, which ends at "
        f"{us(no.limit)}",
        "State the right pulse class, or stay inside it.",
    ),
    "wrong_order": lambda no: _order(no),
    "frame_too_short": lambda no: (
        f"{_of(no.ch)}the longest pulse and the silence after it take {us(no.value)}, "
        f"a frame lasts only {us(no.limit)}",
        "Lower the frame rate, or the high limit.",
    ),
    "too_fast": lambda no: (
        f"{_of(no.ch)}{name(no.key)} of {amount('_ms', no.value)} is quicker than the slew "
        f"allows; the shortest is {amount('_ms', no.limit)}",
        "Allow more time, or go less far.",
    ),
    "rail_low": lambda no: (
        f"the servo supply is at {amount('_mv', no.value)}; below {amount('_mv', no.limit)} "
        "nothing starts",
        "Look at the supply, its switch and its charge.",
    ),
    "not_kept": lambda _no: (
        "it could not write its settings; nothing has changed",
        "Put the firmware on the board anew; if that fails too, its memory is full or worn.",
    ),
    "channel_on": lambda no: (
        f"this is only possible while {f'channel {no.ch} is' if no.ch else 'all channels are'} "
        "off",
        "Start the command again.",
    ),
    "not_set_up": lambda no: (
        f"channel {no.ch} has no pulse class and limits yet",
        "Start the command again.",
    ),
    "no_such_channel": lambda no: (
        f"there is no channel {no.value}: the board has {no.limit}",
        "Use another channel.",
    ),
    "not_holding": lambda no: (
        f"this is only possible while channel {no.ch} holds a pulse",
        "Start the command again.",
    ),
}


def refused(refusal: Refusal) -> BenchError:
    """Return a refusal as the error that a person meets."""
    if refusal.code in _WORDS:
        what, mend = _WORDS[refusal.code](refusal)
        return BenchError(f"the board refused: {what}.", mend=mend)
    return BenchError(f"the board refused: {refusal.describe()}.")


def never_sent(error: LocalProtocolError) -> BenchError:
    """Return what the wire forbids as the error that a person meets."""
    what = error.message
    if error.code == "out_of_range" and error.key:
        least_or_most = "least" if error.value < error.limit else "most"
        what = (
            f"{name(error.key)} cannot be {amount(error.key, error.value)}; "
            f"the {least_or_most} is {amount(error.key, error.limit)}"
        )
    return BenchError(
        f"nothing was sent: {what}.",
        cause="No board can be asked for this.",
        mend="Ask for values inside these limits.",
    )


def name(key: str) -> str:
    """Return what a key of the wire means."""
    if key in _NAMES:
        return _NAMES[key]
    return "a pulse" if key.endswith("_ns") else key.replace("_", " ")


def amount(key: str, value: int) -> str:
    """Return the value of a key in the unit of people: ``amount("p1_ns", 899000)`` is 899 us."""
    for ending, factor, unit in _UNITS:
        if key.endswith(ending):
            return f"{value / factor:.10g}{unit}"
    return str(value)


def us(pulse_ns: int) -> str:
    """Return a pulse in us."""
    return amount("_ns", pulse_ns)


def _order(no: Refusal) -> tuple[str, str]:
    """Say which two values are in the wrong order, and by which options they are said."""
    if no.key == "rail_low_mv" and not no.limit:
        return (
            "without a supply divider it cannot see whether the supply is below "
            f"{amount(no.key, no.value)}",
            "Where a divider is fitted, add the voltage at which it reads full, such as: "
            '--rail-full "9.9 V"',
        )
    return (
        f"{_of(no.ch)}{name(no.key)}, {amount(no.key, no.value)}, must be {_must(no)} "
        f"{amount(no.key, no.limit)}",
        _OPTIONS.get(no.key, "Correct one of the two values."),
    )


def _must(no: Refusal) -> str:
    """Say how the value refused must stand to the one that it was compared with."""
    if no.key == "centre_ns":
        return "at least" if no.value < no.limit else "at most"
    return "more than" if no.key == "off_ms" else "less than"


def _of(channel: int) -> str:
    return f"channel {channel}: " if channel else ""

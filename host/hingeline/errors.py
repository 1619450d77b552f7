"""The one family of errors that a user may meet.

Every error says what is wrong, with the value and the limit in the message, why
it matters (``cause``) and what to do next (``mend``). Library code raises; only
``hingeline.cli`` prints and turns ``exit_code`` into the process's own.
"""

from __future__ import annotations


class HingelineError(Exception):
    """Something a user can put right.

    Parameters
    ----------
    message : str
        What is wrong, with the offending value and the limit it met.
    cause : str
        Why, or what lies behind it; empty when the message says it all.
    mend : str
        The next step for the user; empty only when there is none.
    """

    exit_code = 1

    def __init__(self, message: str, *, cause: str = "", mend: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.cause = cause
        self.mend = mend

    def __str__(self) -> str:
        return " ".join(part for part in (self.message, self.cause, self.mend) if part)


class ModelError(HingelineError):
    """The model file, or one value in it, cannot be used."""

    exit_code = 3


class UnitError(HingelineError, ValueError):
    """A value without its unit, with a wrong one, or not a number."""

    exit_code = 3


class LinkageError(HingelineError):
    """The geometry cannot do what is asked."""

    exit_code = 4


class TravelError(HingelineError):
    """The readings do not give a travel curve, or the curve is asked beyond itself."""

    exit_code = 5


class UnfitError(TravelError):
    """The readings make no curve, and say of the servo that it is unfit for a surface."""


class BenchError(HingelineError):
    """The board, the port or the link between them failed or refused."""

    exit_code = 6


class LostError(BenchError):
    """The board is gone, does not answer, was started again, or stopped by itself.

    Whoever can go on at a place that is kept may look for the board again.
    """


class RecordsError(HingelineError):
    """The records cannot be read or written."""

    exit_code = 7


class Stopped(HingelineError):  # noqa: N818  (no error: what the user wanted)
    """The user stopped the work; outputs are off and what was typed is kept."""

    exit_code = 130

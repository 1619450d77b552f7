"""Kinds of findings: the words under which results are kept in the records, and found again.

What is on record bears these words, so that none of them ever changes.
"""

from __future__ import annotations

#: What a calibration says of a servo.
VERDICT = "verdict"
#: How the arm of a servo sits, or that it was put on anew and nobody has read it.
SEAT = "seat"
#: In such a seat, what was done: another servo was fitted.
OTHER_SERVO = "servo"
#: What a guided run has found of a surface besides what its file says.
BUILT = "built"
#: Centre, ends and throws of a surface as a guided run measured them.
RIGGED = "rigged"
#: What a check against that record found of a surface.
CHECKED = "checked"
#: Throws sent to a surface and measured.
THROW = "throw"
#: Two sides compared point by point.
PAIR = "pair"
#: The least step back that moves a servo.
DEAD_BAND = "dead band"
#: Where a servo buzzes.
BINDING = "binding"

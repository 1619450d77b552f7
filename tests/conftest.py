"""What holds for all tests: property tests try the same inputs in every run.

A change is judged by what it changes, not by the luck of the draw. To look further, run with
HINGELINE_EXPLORE=1: then the inputs are drawn anew each time.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady",
    derandomize="HINGELINE_EXPLORE" not in os.environ,
    # Machines are slow in their own ways, and a linkage drawn at random often does not close.
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
settings.load_profile("steady")

"""A bench without hardware: the board's own firmware core with modelled servos behind it.

There is no second imitation of the board: bytes go through ``benchboard.core``, and its
pulses drive the servos of :mod:`~hingeline.bench.simulated.servo`. Only the servos, the
linkages and the reading of the gauge are modelled, and their truth is known.
"""

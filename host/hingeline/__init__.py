"""Plan, centre, calibrate, rig and check the servos and linkages of model aircraft."""

__version__ = "0.1.0"

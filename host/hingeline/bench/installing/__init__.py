"""Putting the firmware on a board: which files, how they get there, whether all are there."""

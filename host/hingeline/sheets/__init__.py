"""Drawings and plots of a plan; matplotlib is imported only by the modules that draw."""

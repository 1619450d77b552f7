"""Pure mathematics of arm, rod and horn: positions, ratios, angles, limits, throws."""

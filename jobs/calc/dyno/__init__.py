"""Air correction, curves, power from the roller and comparison of runs."""

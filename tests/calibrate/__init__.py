"""Tests of the station: calibration, light and sensor, drift, budget."""

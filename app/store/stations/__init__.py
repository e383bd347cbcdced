"""Stations: their checks and their light."""

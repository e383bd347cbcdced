"""Whole trays on disk: frames, drawings, stations, truth."""

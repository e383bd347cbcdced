"""Runs: one shot, many, side by side."""

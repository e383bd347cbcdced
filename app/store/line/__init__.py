"""Verdicts on their way to the line."""

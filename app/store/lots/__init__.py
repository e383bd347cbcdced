"""Lots: their content and state, what was decided on them, and the limits they were judged by."""

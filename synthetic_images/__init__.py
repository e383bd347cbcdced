"""Rendered trays with exact truth, in a works of our own invention."""

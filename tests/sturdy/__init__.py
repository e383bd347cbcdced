"""Inputs that nobody means well with, folders that poison, stores that were damaged: nothing stops, nothing lies."""

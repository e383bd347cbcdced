"""Tests of the polished face on simple scenes of their own."""

"""Tests of the measurement's steps."""

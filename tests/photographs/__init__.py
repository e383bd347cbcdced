"""Checks on real photographs."""

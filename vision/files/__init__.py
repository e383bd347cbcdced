"""Strict readers and writers, one file a format."""

"""Tests against rendered trays with exact truth."""

"""Tests of `vision.drafting`: drawings made here, by their own formulas, read back."""

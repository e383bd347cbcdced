"""Counting rules, guard bands, verdicts and revisions of limits; they see no image."""

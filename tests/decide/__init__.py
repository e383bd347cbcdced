"""Guard bands, counts and verdicts."""

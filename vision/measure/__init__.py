"""Steps of the measurement; they see arrays and records, never files or limits."""

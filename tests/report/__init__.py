"""Pictures and reports."""

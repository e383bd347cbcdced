"""Pictures, plots and printable reports."""

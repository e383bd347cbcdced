"""Statistics on results and verdicts; sees no image."""

"""The house itself: rooms, sizes, and that what exists is written about."""

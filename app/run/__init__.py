"""One shot, a batch of shots, a watched folder: where files meet measurement."""

"""From images of a target to a station."""

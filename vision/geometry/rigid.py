"""A motion of the plane: rotation and translation."""

from dataclasses import dataclass

import numpy as np

from vision.records import Array


@dataclass(frozen=True, slots=True)
class Motion:
    """p -> R(angle) p + shift; counter-clockwise in right-handed axes, `angle_rad`, `shift` in the points' unit."""

    angle_rad: float
    shift: tuple[float, float]

    @property
    def matrix(self) -> Array:
        """Rotation, (2, 2)."""
        c, s = np.cos(self.angle_rad), np.sin(self.angle_rad)
        return np.array([[c, -s], [s, c]])

    def apply(self, points: Array) -> Array:
        """Move points (n, 2)."""
        return np.asarray(points @ self.matrix.T + np.asarray(self.shift))

    def turn(self, vectors: Array) -> Array:
        """Turn directions (n, 2) without moving them."""
        return np.asarray(vectors @ self.matrix.T)

    def inverse(self) -> "Motion":
        """The motion that undoes this one."""
        back = self.matrix.T @ np.asarray(self.shift)
        return Motion(-self.angle_rad, (-float(back[0]), -float(back[1])))

    def after(self, first: "Motion") -> "Motion":
        """This motion applied after `first`."""
        shift = self.matrix @ np.asarray(first.shift) + np.asarray(self.shift)
        return Motion(self.angle_rad + first.angle_rad, (float(shift[0]), float(shift[1])))

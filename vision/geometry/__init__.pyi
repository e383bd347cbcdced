from .camera import CameraMapping as CameraMapping
from .polyline import (
    Moments as Moments,
    arc_lengths as arc_lengths,
    centroid as centroid,
    curvature as curvature,
    length_and_width as length_and_width,
    moments as moments,
    points_at as points_at,
    resample as resample,
    right_normals as right_normals,
    signed_area as signed_area,
    smooth as smooth,
    tangents as tangents,
)
from .rigid import Motion as Motion

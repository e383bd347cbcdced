from .blur import edge_blur_px as edge_blur_px
from .described import (
    SPOTS as SPOTS,
    DescribedFace as DescribedFace,
    described_face as described_face,
    mark_chances as mark_chances,
)
from .features import Feature as Feature
from .frame_check import missing_lights as missing_lights
from .judging import unknown_features as unknown_features
from .lines.features import LINE_FEATURES as LINE_FEATURES
from .of_piece import with_face as with_face
from .raster import FaceInputs as FaceInputs, scored_shape as scored_shape
from .score import score_face as score_face
from .teaching import Lesson as Lesson, taught as taught

from .blur import edge_blur_px as edge_blur_px
from .frame_check import missing_lights as missing_lights
from .raster import FaceInputs as FaceInputs, scored_shape as scored_shape
from .score import FaceScore as FaceScore, score_face as score_face

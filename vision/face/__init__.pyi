from .blur import edge_blur_px as edge_blur_px
from .raster import FaceInputs as FaceInputs, scored_shape as scored_shape
from .score import score_face as score_face

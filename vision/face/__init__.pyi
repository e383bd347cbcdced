from .blur import edge_blur_px as edge_blur_px
from .frame_check import missing_lights as missing_lights
from .of_piece import with_face as with_face
from .raster import FaceInputs as FaceInputs, scored_shape as scored_shape
from .score import score_face as score_face

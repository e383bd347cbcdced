from .edges import places_across as places_across
from .nominal import Nominal as Nominal, prepare_nominal as prepare_nominal
from .piece import measure_piece as measure_piece
from .placement import Placement as Placement
from .scale import scale_finding as scale_finding
from .scene import BacklitScene as BacklitScene
from .tray import SHARP_PX as SHARP_PX, Found as Found, find_pieces as find_pieces

from .found import Found as Found
from .other_scale import size_doubt as size_doubt
from .piece import measure_piece as measure_piece
from .pin import PinDiameter as PinDiameter, see_pin as see_pin
from .placement import Placement as Placement
from .rim_light import half_level_shift as half_level_shift
from .scale import scale_finding as scale_finding
from .scene import BacklitScene as BacklitScene, see_scene as see_scene
from .settings import OUTLINE as OUTLINE
from .silhouettes import Silhouette as Silhouette, find_silhouettes as find_silhouettes
from .spoilt import spoilt_by as spoilt_by
from .torn import torn_finding as torn_finding
from .tray import find_pieces as find_pieces

from .advice import (
    calibration_advice as calibration_advice,
    choice as choice,
    covered_share as covered_share,
    displacement_px as displacement_px,
    distortion_mm as distortion_mm,
    parallax_mm as parallax_mm,
)
from .budget import (
    Budget as Budget,
    Contribution as Contribution,
    measure_budget as measure_budget,
    rectangular as rectangular,
)
from .calibration import Calibration as Calibration, Settings as Settings, calibrate as calibrate
from .checks import (
    CheckVerdict as CheckVerdict,
    DriftOfMeasure as DriftOfMeasure,
    ReferenceValue as ReferenceValue,
    check_reference as check_reference,
)
from .corners import Pixels as Pixels
from .correction import correction_values as correction_values
from .false_stops import CHECKS_BETWEEN as CHECKS_BETWEEN
from .heights import Heights as Heights
from .model_choice import LensFreedom as LensFreedom
from .models import Perspective as Perspective
from .observation import Observation as Observation, see as see
from .photographs import read_photograph as read_photograph
from .sensor import (
    FlatPair as FlatPair,
    level_for_read_noise as level_for_read_noise,
    measure_pair as measure_pair,
    photon_transfer as photon_transfer,
)
from .slanted_edge import edge_sharpness as edge_sharpness
from .target import Target as Target
from .tray_frame import field_points as field_points, moved_from as moved_from

"""Every constant of this room that decides what is measured or told, by idea: units and reasons stand beside each."""

from dataclasses import dataclass

from vision.outline.band import BAND, BandSettings
from vision.outline.band_blocks import BAND_BLOCKS, BandBlockSettings
from vision.outline.band_fit import BAND_FIT, BandFitSettings
from vision.outline.band_model import BAND_MODEL, BandModelSettings
from vision.outline.bumps import BUMPS, BumpSettings
from vision.outline.clumps import CLUMPS, ClumpSettings
from vision.outline.edges import EDGES, EdgeSettings
from vision.outline.glance import GLANCE, GlanceSettings
from vision.outline.holes import HOLES, HoleSettings
from vision.outline.leftovers import LEFTOVERS, LeftoverSettings
from vision.outline.light_extent import LIGHT_EXTENT, LightExtentSettings
from vision.outline.nominal import NOMINAL, NominalSettings
from vision.outline.other_scale import OTHER_SCALE, OtherScaleSettings
from vision.outline.piece import PIECE, PieceSettings
from vision.outline.pin import PIN, PinSettings
from vision.outline.place_errors import PLACE_ERRORS, PlaceErrorSettings
from vision.outline.placement import PLACEMENT, PlacementSettings
from vision.outline.prediction import PREDICTION, PredictionSettings
from vision.outline.profile import PROFILE, ProfileSettings
from vision.outline.registration import REGISTRATION, RegistrationSettings
from vision.outline.rim_light import RIM_LIGHT, RimLightSettings
from vision.outline.scale import SCALE, ScaleSettings
from vision.outline.seen_measures import SEEN, SeenSettings
from vision.outline.single import SINGLE, SingleSettings
from vision.outline.spoilt import SPOILT, SpoiltSettings
from vision.outline.torn import TORN, TornSettings
from vision.outline.touching import TOUCHING, TouchingSettings
from vision.outline.tray import TRAY, TraySettings
from vision.outline.turned_over import TURNED_OVER, TurnedOverSettings
from vision.outline.zone_measures import ZONES, ZoneSettings


@dataclass(frozen=True, slots=True)
class OutlineSettings:
    """By the module that they stand in."""

    band: BandSettings = BAND
    band_blocks: BandBlockSettings = BAND_BLOCKS
    band_fit: BandFitSettings = BAND_FIT
    band_model: BandModelSettings = BAND_MODEL
    bumps: BumpSettings = BUMPS
    clumps: ClumpSettings = CLUMPS
    edges: EdgeSettings = EDGES
    glance: GlanceSettings = GLANCE
    holes: HoleSettings = HOLES
    leftovers: LeftoverSettings = LEFTOVERS
    light_extent: LightExtentSettings = LIGHT_EXTENT
    nominal: NominalSettings = NOMINAL
    other_scale: OtherScaleSettings = OTHER_SCALE
    piece: PieceSettings = PIECE
    pin: PinSettings = PIN
    place_errors: PlaceErrorSettings = PLACE_ERRORS
    placement: PlacementSettings = PLACEMENT
    prediction: PredictionSettings = PREDICTION
    profile: ProfileSettings = PROFILE
    registration: RegistrationSettings = REGISTRATION
    rim_light: RimLightSettings = RIM_LIGHT
    scale: ScaleSettings = SCALE
    seen_measures: SeenSettings = SEEN
    single: SingleSettings = SINGLE
    spoilt: SpoiltSettings = SPOILT
    torn: TornSettings = TORN
    touching: TouchingSettings = TOUCHING
    tray: TraySettings = TRAY
    turned_over: TurnedOverSettings = TURNED_OVER
    zone_measures: ZoneSettings = ZONES


OUTLINE = OutlineSettings()

"""Every measure, declared once: its name, unit, title, decimals, meaning, and what judging and reports ask of it."""

from dataclasses import dataclass
from math import inf
from typing import Literal

from vision.records import Severity

# The area that densities divide by; without it nothing of the face was scored.
SCORED_AREA = "scored_area_cm2"
# The share of it over which densities are taken, and below which there are none.
FACE_SEEN = "face_seen"
LEAST_SEEN = 0.8


@dataclass(frozen=True, slots=True)
class DefaultLimit:
    """A limit that holds where a works sets none."""

    severity: Severity
    min: float | None = None
    max: float | None = None


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure that a limit can name.

    `unit` as files have it (empty for a count or a share); `title` and `decimals` as people read it; `per_zone` where
    it has a value for each zone of the part. `on` the outline or the polished face. `says_seen`: it tells how much was
    seen, which proves nothing bad, so that a limit on it sends to review at worst. `station_part`: what a station alone
    makes of its uncertainty: that of a deviation, or of an extent between two ends. `later`: it came after the first
    results, so that a piece filed before has no such key. `default`: the limit that holds where a works sets none.
    `kinds` of finding that it rests on, `by` the largest of them, their sum, or what stands at the ends of an extent.
    `needs`: what a part must have. `least`, `most`: what the value can be at all; `as_drawn`: what it is on a piece
    just as drawn, None where that is not known or comes from the drawing.
    """

    name: str
    unit: str
    title: str
    decimals: int
    meaning: str
    per_zone: bool = False
    on: Literal["outline", "face"] = "outline"
    says_seen: bool = False
    station_part: Literal["deviation", "extent"] | None = None
    later: bool = False
    default: DefaultLimit | None = None
    kinds: tuple[str, ...] = ()
    by: Literal["largest", "sum", "ends"] = "largest"
    needs: Literal["hole", "bend"] | None = None
    least: float = 0.0
    most: float = inf
    as_drawn: float | None = 0.0


# The defaults: longest stretch of a zone's outline that may go unseen (mm), and light through the metal (mm2) that is
# no more than what noise and an edge's own roughness leave; those of the face are common practice, no source.
_ALL = (
    Measure(
        "outline_out_mm", "mm", "outward deviation", 3,
        "largest outward deviation from the nominal outline (metal too many)", per_zone=True, station_part="deviation",
        kinds=("burr", "swell"),
    ),
    Measure(
        "outline_in_mm", "mm", "inward deviation", 3,
        "largest inward deviation from the nominal outline (metal missing)", per_zone=True, station_part="deviation",
        kinds=("nick", "hollow"),
    ),
    Measure(
        "outline_rms_mm", "mm", "root mean square deviation", 3,
        "root mean square deviation from the nominal outline", per_zone=True,
        kinds=("burr", "swell", "nick", "hollow"), by="sum",
    ),
    Measure(
        "length_mm", "mm", "length", 3, "extent along drawing x", station_part="extent", as_drawn=None, by="ends",
    ),
    Measure(
        "width_mm", "mm", "width", 3, "extent across, along drawing y", per_zone=True, station_part="extent",
        as_drawn=None, by="ends",
    ),
    Measure(
        "bend_deg", "deg", "bend", 3, "the bend zone's axis against its place on the drawing, counter-clockwise",
        needs="bend", least=-inf,
        kinds=("bend",),
    ),
    Measure(
        "hole_offset_mm", "mm", "hole offset", 3, "largest distance of a punched hole from its place on the drawing",
        needs="hole",
    ),
    Measure(
        "hole_diameter_error_mm", "mm", "hole diameter error", 3,
        "largest error of a punched hole's diameter, its sign kept", needs="hole", least=-inf,
    ),
    Measure(
        "rim_band_mm", "mm", "bright band at the rim", 3,
        "width of the bright band along the rim, where it is wider than the blur", per_zone=True, later=True,
        as_drawn=None,
    ),
    Measure(
        "rim_unknown_mm", "mm", "edge in doubt by an unknown backlight", 3,
        "how far inward a bright band that nobody knows of may have moved the outline", says_seen=True, later=True,
    ),
    Measure(
        "outline_seen", "", "outline seen", 3,
        "share of the outline that was seen", per_zone=True, says_seen=True, later=True, most=1.0, as_drawn=1.0,
        by="sum",
    ),
    Measure(
        "outline_unseen_mm", "mm", "longest stretch not seen", 2,
        "longest stretch of the outline that was not seen", per_zone=True, says_seen=True, later=True,
        default=DefaultLimit("major", max=0.5), by="sum",
    ),
    Measure(
        "opening_area_mm2", "mm2", "light through the metal", 3,
        "light through the metal where the drawing has none", later=True, default=DefaultLimit("major", max=0.02),
        kinds=("opening",), by="sum",
    ),
    Measure(
        SCORED_AREA, "cm2", "scored area", 2, "area of the polished face that was seen and scored", on="face",
        as_drawn=None,
    ),
    Measure(
        "scratch_count", "", "scratches", 0, "scratches on the scored area", on="face",
        kinds=("scratch",),
    ),
    Measure(
        "scratch_longest_mm", "mm", "longest scratch", 2, "longest scratch", on="face",
        kinds=("scratch",),
    ),
    Measure(
        "scratch_density_mm_per_cm2", "mm/cm2", "scratch density", 2,
        "summed length of scratches over the scored area", on="face",
        kinds=("scratch",),
    ),
    Measure(
        "pit_count", "", "pits", 0, "pits on the scored area", on="face",
        kinds=("pit",),
    ),
    Measure(
        "pit_largest_mm", "mm", "largest pit", 2, "largest equivalent diameter of a pit", on="face",
        kinds=("pit",),
    ),
    Measure(
        "pit_density_per_cm2", "1/cm2", "pit density", 2, "pits over the scored area", on="face",
        kinds=("pit",),
    ),
    Measure(
        "pit_area_ppm", "ppm", "pit area", 0, "summed area of pits over the scored area", on="face",
        kinds=("pit",),
    ),
    Measure(
        FACE_SEEN, "", "face seen", 3,
        "share of the scored area in which the reference marks would have been found", on="face", says_seen=True,
        later=True, default=DefaultLimit("major", min=LEAST_SEEN), most=1.0, as_drawn=1.0,
    ),
    Measure(
        "mark_area_mm2", "mm2", "area of other marks", 2,
        "departures of the polish that are neither scratch nor pit nor stain", on="face", later=True,
        default=DefaultLimit("major", max=1.0),
        kinds=("mark",), by="sum",
    ),
    Measure(
        "stain_area_mm2", "mm2", "area of stains", 1, "dried drops, films and smears", on="face", later=True,
        default=DefaultLimit("minor", max=40.0),
        kinds=("stain",), by="sum",
    ),
    Measure(
        "buffing_line_level", "%", "buffing line level", 4,
        "contrast of the finish's parallel lines left by the buffing wheel", on="face", as_drawn=None,
    ),
)  # fmt: skip

MEASURES: dict[str, Measure] = {measure.name: measure for measure in _ALL}

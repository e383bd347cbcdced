"""The measures that a limit can name: their units, what they mean, and which are taken zone by zone."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure: `unit` as printed (empty for a count), `per_zone` when it has a value for each zone of the part."""

    name: str
    unit: str
    per_zone: bool
    meaning: str


MEASURES: dict[str, Measure] = {
    measure.name: measure
    for measure in (
        Measure("outline_out_mm", "mm", True, "largest outward deviation from the nominal outline (metal too many)"),
        Measure("outline_in_mm", "mm", True, "largest inward deviation from the nominal outline (metal missing)"),
        Measure("outline_rms_mm", "mm", True, "root mean square deviation from the nominal outline"),
        Measure("length_mm", "mm", False, "extent along drawing x"),
        Measure("width_mm", "mm", True, "extent across, along drawing y"),
        Measure("bend_deg", "deg", False, "the bend zone's axis against its place on the drawing, counter-clockwise"),
        Measure("hole_offset_mm", "mm", False, "largest distance of a punched hole from its place on the drawing"),
        Measure("hole_diameter_error_mm", "mm", False, "largest error of a punched hole's diameter, its sign kept"),
        Measure("outline_seen", "", True, "share of the outline that was seen"),
        Measure("outline_unseen_mm", "mm", True, "longest stretch of the outline that was not seen"),
        Measure("opening_area_mm2", "mm2", False, "light through the metal where the drawing has none"),
        Measure("scored_area_cm2", "cm2", False, "area of the polished face that was seen and scored"),
        Measure("scratch_count", "", False, "scratches on the scored area"),
        Measure("scratch_longest_mm", "mm", False, "longest scratch"),
        Measure("scratch_density_mm_per_cm2", "mm/cm2", False, "summed length of scratches over the scored area"),
        Measure("pit_count", "", False, "pits on the scored area"),
        Measure("pit_largest_mm", "mm", False, "largest equivalent diameter of a pit"),
        Measure("pit_density_per_cm2", "1/cm2", False, "pits over the scored area"),
        Measure("pit_area_ppm", "ppm", False, "summed area of pits over the scored area"),
        Measure("face_seen", "", False, "share of the scored area in which the reference marks would have been found"),
        Measure("mark_area_mm2", "mm2", False, "departures of the polish that are neither scratch nor pit nor stain"),
        Measure("stain_area_mm2", "mm2", False, "dried drops, films and smears"),
        Measure("buffing_line_level", "%", False, "contrast of the finish's parallel lines left by the buffing wheel"),
    )
}

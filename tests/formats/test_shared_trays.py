"""Every input of the trays rendered outside the project reads as it stands."""

from pathlib import Path

import numpy as np
import pytest

from vision.formats.dxf_taking import CHORD_MM
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station

TRAYS = Path(__file__).parents[2] / ".." / "shared" / "trays"
FAMILIES = sorted(path.parent for path in TRAYS.rglob("part.toml"))

pytestmark = pytest.mark.skipif(not TRAYS.exists(), reason="the trays rendered outside the project are absent")


@pytest.mark.parametrize("family", FAMILIES, ids=lambda path: path.name)
def test_a_family_of_trays_reads(family: Path) -> None:
    part = read_part(family / "part.toml")
    station = read_station(family / "station.toml")
    limits = read_limits(family / "limits.toml", part)
    shots = [read_shot(path.parent) for path in sorted(family.rglob("shot.json"))]
    assert limits.limits
    assert shots
    for shot in shots:
        assert (shot.part, shot.station) == (part.part, station.station)
        assert shot.frames[0].light == "back"
    assert part.zones[0].x_mm[0] == pytest.approx(part.outline[:, 0].min(), abs=0.001)
    assert part.zones[-1].x_mm[1] == pytest.approx(part.outline[:, 0].max(), abs=0.001)
    assert [zone.name for zone in part.zones if zone.bend] == ["handle"]
    x, y = part.outline.T
    assert np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) > 0.0


@pytest.mark.parametrize(("family", "diameter_mm"), [("punched", 5.0), ("entities", 4.0)])
def test_a_punched_hole_has_its_diameter(family: str, diameter_mm: float) -> None:
    (hole,) = read_part(TRAYS / "outline" / family / "part.toml").holes
    radii = np.hypot(*(hole - 0.5 * (hole.min(axis=0) + hole.max(axis=0))).T)
    assert 2.0 * radii.max() == pytest.approx(diameter_mm, abs=2.0 * CHORD_MM)

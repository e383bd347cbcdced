"""What spoils a backlit frame as a whole: exposure, focus, counts that don't follow the light, a station's limits."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.backlight import FIELD, fitted_response, lamp_state, light_findings, response_finding
from vision.errors import Unusable
from vision.outline.edges import places_across
from vision.outline.found import Found
from vision.outline.scene import BacklitScene
from vision.outline.single import SINGLE
from vision.outline.tray import FoundTray
from vision.records import Fault, LightLimits, Picture, TrayFinding


@dataclass(frozen=True, slots=True)
class SpoiltSettings:
    """When a whole backlit frame is spoilt."""

    # Share of the empty tray at full scale from which edges are no longer measured where they seem.
    saturated_share: float = 0.02


SPOILT = SpoiltSettings()


@dataclass(frozen=True, slots=True)
class Spoilt:
    """Why no piece of a frame can be measured properly, and what is said of it."""

    fault: Fault
    finding: TrayFinding


def spoilt_by(scene: BacklitScene, found: FoundTray) -> tuple[Spoilt, ...]:
    """Everything that spoils the backlit frame, the gravest first.

    Parameters
    ----------
    scene
        The backlit frame and its light.
    found
        Its pieces, whose edges tell the blur and the response.

    Returns
    -------
    tuple[Spoilt, ...]
        A fault and a finding for each, none for a frame that is as it should be.
    """
    name = scene.back.name or "back"
    spoilt: list[Spoilt] = []
    if scene.light.saturated > SPOILT.saturated_share:
        full = f"{scene.light.saturated:.0%} of the empty tray reaches {FIELD.saturated:.0%} of full scale"
        detail = f"{full}; expose less"
        spoilt.append(Spoilt("exposure", TrayFinding("exposure", None, f"{name}: {detail}")))
    if found.blur_px > SINGLE.sharp_px:
        wide = f"edges are {found.blur_px:.1f} px wide (standard deviation)"
        detail = f"{wide}, at most {SINGLE.sharp_px} is sharp; focus the lens"
        spoilt.append(Spoilt("focus", TrayFinding("focus", None, f"{name}: {detail}")))
    bent = _response(scene, found.pieces)
    if bent is not None:
        spoilt.append(Spoilt("response", bent))
    beyond = _beyond_limits(scene.back, found.blur_px, scene.camera.station.light)
    spoilt += [Spoilt("focus" if finding.kind == "focus" else "exposure", finding) for finding in beyond]
    return tuple(spoilt)


def _response(scene: BacklitScene, found: Sequence[Found]) -> TrayFinding | None:
    """Whether the counts of the backlit frame follow the light, by its pieces' edges and by its noise."""
    # A bright band along the rim makes a profile lopsided too, whatever the response: by the edges alone nobody can
    # tell one from the other, so a band counts where the station says that there is one.
    seen = [one.edge for one in found if one.edge is not None]
    plain = [one for one in seen if one.band is None or not (one.band.fitted and one.band.backlight == "station")]
    profiles = [one.profile for one in plain if np.isfinite(one.profile).all()]
    edge = None
    if profiles:
        profile = np.mean(profiles, axis=0)
        dark_share = float(np.median(scene.light.dark) / np.median(scene.light.bright))
        edge = fitted_response(places_across(profile), profile, max(dark_share, 0.0))
    bent = response_finding(scene.back, scene.light, edge, scene.mm_per_px)
    if bent is None or scene.camera.station.backlight is not None:
        return bent
    why = "rims that shine before a wide backlight look alike: measure it with a pin ([backlight])"
    return replace(bent, detail=f"{bent.detail}; {why}")


def _beyond_limits(back: Picture, blur_px: float, limits: LightLimits) -> list[TrayFinding]:
    """What of the backlight or the sharpness the station's own limits don't allow."""
    if limits == LightLimits():
        return []
    name = back.name or "back"
    try:
        lamp = lamp_state(back.pixels, back.full_scale, name)
    except Unusable as fault:
        return [TrayFinding("exposure", None, str(fault))]
    found = light_findings(lamp, blur_px if np.isfinite(blur_px) else None, limits)
    return [replace(finding, detail=f"{name}: {finding.detail}") for finding in found]

"""What the viewer needs of one piece, as JSON: places in px of the upright picture, words, addresses of pictures."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from app.pages.evidence import Scene, evidence, question
from app.pages.piece_words import Line, fault_messages, finding_messages, reason_messages, with_causes
from app.pages.server_state import ServerState
from app.pages.upright_frames import UprightFrame, upright_frame
from app.report import blind_regions, known_words, limits_words, magnification, outward_normals, path
from app.store import (
    Holding,
    Looks,
    Neighbour,
    PicturePath,
    Shown,
    Standing,
    Store,
    bench,
    clock_s,
    holdings,
    labels_given,
    limits_of,
    neighbours,
    part_of,
    profile_of,
    questions,
    shown,
    standing,
    station_of,
    suspect_trays,
)
from vision.geometry import points_at
from vision.records import Limits, Part, SeenMap, Station

LIGHT_WORDS = {"back": "backlit", "dome": "dome", "low": "low"}
OUTLINE_POINTS = 900
SUSPECT_MESSAGE = "the station failed its check; to be judged again"


def cards(
    server: ServerState, judgement_ids: Sequence[int], inspector: str, blind: bool = False
) -> list[dict[str, Any]]:
    """Cards of judgements, in the order asked for; those that the store lacks are left out.

    With `blind`, nothing that the camera said of the piece is in them.
    """
    known = shown(server.store, judgement_ids)
    said: dict[int, list[Standing]] = {}
    holds: dict[int, Holding] = {}
    if not blind:
        pieces = [one.piece_id for one in known.values()]
        for verdict in standing(server.store, piece_ids=pieces):
            said.setdefault(verdict.piece_id, []).append(verdict)
        with server.store.read() as connection:
            holds = holdings(connection, pieces)
    told = {} if blind else labels_given(server.store, inspector, judgement_ids)
    names = [] if blind else sorted({one.tray for one in known.values()})
    suspect = {tray.tray for tray in suspect_trays(server.store, among=names)}
    drawings: dict[tuple[str, str, int], Drawings] = {}
    beside = {} if blind else {shot: neighbours(server.store, shot) for shot in {one.shot_id for one in known.values()}}
    rows = []
    for judgement in judgement_ids:
        if judgement not in known:
            continue
        one = known[judgement]
        key = (one.part, one.station, one.limits_revision)
        if key not in drawings:
            drawings[key] = _drawings(server.store, one)
        content = _card(one, drawings[key], blind)
        if not blind:
            content |= _named(one, drawings[key]) | _camera_says(server.store, one, drawings[key])
            content["labels"] = told.get(judgement, {})
            content["neighbours"] = _neighbours(beside[one.shot_id], one)
            if one.tray in suspect:
                content["faults"].append(SUSPECT_MESSAGE)
            content |= _people_say(said.get(one.piece_id, []), inspector, holds.get(one.piece_id))
        rows.append(content)
    return rows


def look_cards(server: ServerState, looks: Looks) -> list[dict[str, Any]]:
    """Cards of pieces with findings to look at, in the order asked for, without what the camera said of them."""
    known = shown(server.store, list(looks))
    found = []
    for judgement, findings in looks.items():
        one = known[judgement]
        by = _drawings(server.store, one)
        scene = Scene(one.judged, by.limits, by.part, upright_frame(one, by.part, by.station), frames(one))
        found.append({**_card(one, by, True), "questions": _questions(scene, findings)})
    return found


def _questions(scene: Scene, findings: Iterable[int]) -> list[dict[str, Any]]:
    return [{"finding": index, **question(scene.judged.findings[index], scene)} for index in findings]


@dataclass(frozen=True, slots=True, eq=False)
class Drawings:
    """What a piece is drawn and told by, as far as it was filed."""

    part: Part | None
    station: Station | None
    limits: Limits | None


def _drawings(store: Store, one: Shown) -> Drawings:
    with store.read() as connection:
        limits = limits_of(connection, one.part, one.limits_revision)
    return Drawings(part_of(store, one.part), station_of(store, one.station), limits)


def _card(one: Shown, by: Drawings, blind: bool) -> dict[str, Any]:
    """What everybody may see of a piece: in a blind round no name, by which it could be known again."""
    upright = upright_frame(one, by.part, by.station)
    return {
        "piece_id": one.piece_id,
        "judgement_id": one.judgement_id,
        "blind": blind,
        "size": [1200, 400] if upright is None else list(upright.window.size_px),
        "px_per_mm": upright.window.px_per_mm if upright is not None and upright.known_scale else None,
        "lights": [] if upright is None else _lights(one),
        "outline": "" if upright is None or by.part is None else _outline(by.part, upright),
        "questions": [],
        "labels": {},
    }


def _named(one: Shown, by: Drawings) -> dict[str, Any]:
    return {
        "tray": one.tray,
        "piece": one.judged.piece,
        "part_name": one.part if by.part is None else by.part.name,
        "lot": one.lot or "",
        "process": {name: f"{value:g}" if isinstance(value, float) else value for name, value in one.process.items()},
    }


def _camera_says(store: Store, one: Shown, by: Drawings) -> dict[str, Any]:
    asked = questions(one.judgement_id, one.judged)
    upright = upright_frame(one, by.part, by.station)
    one = replace(one, judged=with_causes(one.judged, by.limits))
    scene = Scene(one.judged, by.limits, by.part, upright, frames(one))
    lines = finding_messages(one.judged, by.limits, by.part)
    return {
        "verdict": one.judged.verdict,
        "newest": one.newest,
        "limits_revision": one.limits_revision,
        "limits_told": limits_words([one.limits_standing]),
        "faults": fault_messages(one.judged, by.limits),
        "reasons": _reasons(scene, lines),
        "findings": _findings(lines, upright, {ask.finding for ask in asked}),
        "questions": _questions(scene, [ask.finding for ask in asked if ask.because == "sample"]),
        "blind_areas": _blind_areas(one.judged.seen, upright),
        "deviations": None if upright is None or by.part is None else _deviations(store, one, by.part, upright),
        "tray_picture": _tray_picture(one),
    }


def _people_say(said: Sequence[Standing], inspector: str, holding: Holding | None) -> dict[str, Any]:
    """What people said of a piece outside blind rounds; `seen` is the newest of it, which a new verdict names."""
    outside = [one for one in said if one.blind is None]
    lapsed = () if holding is None else holding.lapsed
    told = [(one, {**_said(one), "lapsed": one.id in lapsed}) for one in outside]
    return {
        "mine": next((words for one, words in reversed(told) if one.inspector == inspector), None),
        "others": [words for one, words in told if one.inspector != inspector],
        "differ": holding is not None and holding.differ,
        "seen": outside[-1].uid if outside else None,
    }


def held_by(server: ServerState, piece_id: int, holder: str) -> str | None:
    """Who else has a piece in hand right now."""
    query = bench.select().where(bench.c.piece_id == piece_id)
    with server.store.read() as connection:
        row = connection.execute(query).first()
    if row is None or row.holder in ("", holder) or row.held_until < clock_s():
        return None
    return str(row.holder_name)


def frames(one: Shown) -> list[PicturePath]:
    """The frames of a piece's shot: backlit, dome, then the low lights by azimuth."""
    order = list(LIGHT_WORDS)
    lit = [picture for picture in one.pictures if picture.kind == "frame" and picture.light in order]
    return sorted(lit, key=lambda picture: (order.index(picture.light or ""), picture.azimuth_deg or 0.0))


def _lights(one: Shown) -> list[dict[str, Any]]:
    return [
        {
            "name": _light_name(picture),
            "url": f"/desk/frame/{one.judgement_id}/{picture.id}.jpg",
        }
        for picture in frames(one)
    ]


def _light_name(picture: PicturePath) -> str:
    word = LIGHT_WORDS[picture.light or ""]
    return word if picture.azimuth_deg is None else f"{word} {picture.azimuth_deg:.0f}°"


def _outline(part: Part, upright: UprightFrame) -> str:
    loops = (part.outline, *part.holes)
    return "".join(
        path(upright.window.to_px(loop[:: max(1, len(loop) // OUTLINE_POINTS)]), closed=True) for loop in loops
    )


def _reasons(scene: Scene, lines: Sequence[Line]) -> list[dict[str, Any]]:
    """Reasons, worst first, each with its findings by their place in the list, and what shows it."""
    at = {line.index: place for place, line in enumerate(lines)}
    return [
        {"outcome": outcome, "words": words, "findings": [at[k] for k in one.findings], **evidence(one, scene)}
        for one, (outcome, words) in zip(scene.judged.reasons, reason_messages(scene.judged, scene.limits), strict=True)
    ]


def _findings(lines: Sequence[Line], upright: UprightFrame | None, asked: Collection[int]) -> list[dict[str, Any]]:
    """Findings in words; `finding` is the place of one among the judgement's that may be told a mark or none."""
    rows = []
    for line in lines:
        points: list[list[float]] = []
        if upright is not None and line.points_px:
            points = np.round(upright.to_upright_px(np.asarray(line.points_px)), 1).tolist()
        of = line.index if line.index in asked else None
        rows.append({"words": line.words, "tag": line.tag, "points": points, "outcome": line.outcome, "finding": of})
    return rows


def _blind_areas(seen: SeenMap | None, upright: UprightFrame | None) -> list[dict[str, Any]]:
    """What the frames could not show of the face."""
    if upright is None:
        return []
    return [
        {"words": region.words, "ring": np.round(upright.window.to_px(region.ring_mm), 1).tolist()}
        for region in blind_regions(seen)
    ]


def _deviations(store: Store, one: Shown, part: Part, upright: UprightFrame) -> dict[str, Any] | None:
    """The outline with its deviations drawn many times larger: outward and inward as closed paths."""
    kept = profile_of(store, one.judgement_id)
    if kept is None:
        return None
    deviation_mm = kept.deviation_mm
    nominal = points_at(part.outline, kept.s_mm)
    times = magnification(deviation_mm)
    reach = np.nan_to_num(deviation_mm)[:, None] * times * outward_normals(nominal)
    line, drawn = upright.window.to_px(nominal), upright.window.to_px(nominal + reach)
    ring = path(line, closed=True)
    outward = np.where((deviation_mm > 0)[:, None], drawn, line)
    inward = np.where((deviation_mm < 0)[:, None], drawn, line)
    return {
        "times": times,
        "outward": ring + path(outward, closed=True),
        "inward": ring + path(inward, closed=True),
    }


def _tray_picture(one: Shown) -> str | None:
    back = next((picture for picture in frames(one) if picture.light == "back"), None)
    return None if back is None else f"/desk/tray/{one.judgement_id}/{back.id}.jpg"


def _neighbours(on_tray: Sequence[Neighbour], one: Shown) -> list[dict[str, Any]]:
    return [
        {
            "piece": other.piece,
            "verdict": other.verdict,
            "at": None if other.center_px is None else [round(value, 1) for value in other.center_px],
            "here": other.piece == one.judged.piece,
        }
        for other in on_tray
    ]


def _said(one: Standing) -> dict[str, Any]:
    return {
        "uid": one.uid,
        "inspector": one.inspector,
        "known_by": known_words(one.identity),
        "verdict": one.verdict,
        "defects": list(one.defects),
        "note": one.note,
        "given_at": one.given_at,
    }

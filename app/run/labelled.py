"""What people labelled, described anew from the frames: the features on which a judge of marks is taught."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.report import mark_picture
from app.run.planting import PIT_REACH_MM, SCRATCH_REACH_MM
from app.run.teaching import LabelledMark
from app.store import FindingLabel
from app.works import Works
from vision.backlight import NoBacklight
from vision.errors import Unusable
from vision.face import DescribedFace, described_face
from vision.formats import read_frames, read_part, read_shot, read_station
from vision.pipeline import faces_of


def labelled_marks(works: Works, labels: Sequence[FindingLabel]) -> Iterator[tuple[list[LabelledMark], str]]:
    """Read the frames of labelled findings again, one shot after another.

    Parameters
    ----------
    works
        Where shots, parts and stations lie.
    labels
        What people say of findings.

    Yields
    ------
    tuple[list[LabelledMark], str]
        For each shot its labels with features, and a line on those that could not be used; empty where all could.
    """
    ordered = sorted(labels, key=_shot_of)
    for _, of_shot in groupby(ordered, key=_shot_of):
        try:
            yield _of_shot(works, list(of_shot))
        except Unusable as fault:
            yield [], str(fault)


def _shot_of(one: FindingLabel) -> tuple[str, str, str]:
    return (one.taken_at or "", one.tray, one.folder or "")


def _of_shot(works: Works, labels: list[FindingLabel]) -> tuple[list[LabelledMark], str]:
    first = labels[0]
    if first.folder is None:
        raise Unusable(f"tray {first.tray}", "frames", "frames that were filed", "none")
    station = read_station(works.station_file(first.station))
    folder = Path(works.folder, first.folder)
    pictures = read_frames(read_shot(folder, (station,)), station)
    try:
        views = faces_of(pictures, read_part(works.part_file(first.part)), station)
    except NoBacklight as reason:
        raise Unusable(folder, pictures.back.name, "a backlit frame that shows light", str(reason)) from None
    faces = {number: described_face(views[number]) for number in {one.piece for one in labels} if number in views}
    # A piece that was judged again may have been asked about twice: of one place a person's last word counts.
    out: dict[tuple[int, str, tuple[float, ...]], LabelledMark] = {}
    missing = 0
    for one in labels:
        face = faces.get(one.piece)
        features = None if face is None else _features(one, face)
        missing += features is None
        if features is not None:
            at_px = views[one.piece].to_px(np.array([[one.x_mm, one.y_mm]]))[0]
            key = (one.piece, one.inspector, tuple(features.tolist()))
            out[key] = _labelled(one, features, mark_picture(pictures, at_px))
    words = f"tray {first.tray}: of {missing} labels the finding is not found in the frames any more"
    return list(out.values()), words if missing else ""


def _features(label: FindingLabel, face: DescribedFace) -> NDArray[np.float64] | None:
    """Features of the candidate of the label's kind that lies where its finding lay."""
    at = (label.x_mm, label.y_mm)
    if label.kind == "scratch":
        gaps = [float(np.hypot(*(np.array(one.points_mm) - at).T).min()) for one in face.scratches]
        features, reach_mm = face.line_features, SCRATCH_REACH_MM
    else:
        gaps = [float(np.hypot(*np.subtract(one.center_mm, at))) for one in face.pits]
        features, reach_mm = face.spot_features, PIT_REACH_MM
    best = int(np.argmin(gaps)) if gaps else -1
    return features[best] if gaps and gaps[best] <= reach_mm else None


def _labelled(label: FindingLabel, features: NDArray[np.float64], picture: str) -> LabelledMark:
    return LabelledMark(
        label.tray,
        label.piece,
        label.taken_at,
        label.kind,
        label.label == "mark",
        label.inspector,
        label.probability,
        label.share,
        "lines" if label.kind == "scratch" else "spots",
        features,
        picture,
    )

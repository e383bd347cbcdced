"""Frames forgotten by the rule of a works: said in the chain first, then gone; flagged ones and a share stay for ever.

A shot's folder goes whole or not at all. It is renamed out of sight before its files go, so that whoever watches the
inbox never sees half a shot; whatever a death leaves is finished by the next run. Nothing goes but the very files that
the chain says were forgotten: a folder into which something else came meanwhile is put back.
"""

import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from app.store import (
    Acted,
    Forgotten,
    Framed,
    Store,
    file_digest,
    forgotten_files,
    framed_shots,
    kept_digests,
    note_forgotten,
)
from app.works.folder import WORKS_FILE, Keep, Works
from app.works.shots_in_use import shots_alone
from vision.errors import Unusable
from vision.formats import not_written

SHOT_FILE = "shot.json"
_GONE = ".forgotten"


@dataclass(frozen=True, slots=True)
class Due:
    """A shot whose frames may go: its folder and files. `shots`: those filed that had their frames there."""

    shots: frozenset[int]
    tray: str
    folder: Path
    files: tuple[Forgotten, ...]
    bytes: int


@dataclass(frozen=True, slots=True)
class Plan:
    """What the rule comes to now.

    `due` may go; `drawn` counts passed shots that are old enough and stay by the draw; `left` are lines of shots that
    would go and are left alone, each with its reason; `coming`: of all shots' frames the share that will go one day.
    """

    keep: Keep
    due: tuple[Due, ...]
    drawn: int
    left: tuple[str, ...]
    coming: float

    @property
    def bytes(self) -> int:
        """How much that frees."""
        return sum(one.bytes for one in self.due)


def plan(store: Store, works: Works) -> Plan:
    """What the rule of a works lets go now; nothing is changed.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.

    Returns
    -------
    Plan
        Shots whose frames may go, and those that stay by the draw or are left alone, each with its reason.

    Raises
    ------
    Unusable
        The works has no rule.
    """
    keep = works.keep
    if keep is None:
        expected = "a rule, [keep] with passed_days and share; without one all frames are kept"
        raise Unusable(works.folder / WORKS_FILE, "keep", expected, "none")
    shots = framed_shots(store)
    old, going = _by_rule(shots, keep)
    # A path that was used again belongs to every shot that names it.
    needed = {path for one in shots if one.shot_id not in going for path in one.frames}
    digests, gone = kept_digests(store), forgotten_files(store)
    due: dict[Path, Due] = {}
    left = []
    for shot in shots:
        if shot.shot_id in going and not needed & set(shot.frames):
            try:
                found = _due(works, shot, digests, gone)
            except Unusable as fault:
                left.append(str(fault))
                continue
            if found is not None:
                before = due.get(found.folder)
                due[found.folder] = replace(found, shots=found.shots | (before.shots if before else frozenset()))
    drawn = sum(one.draw < keep.share for one in old)
    coming = sum(one.passed and one.draw >= keep.share for one in shots) / max(len(shots), 1)
    return Plan(keep, tuple(due.values()), drawn, tuple(dict.fromkeys(left)), coming)


def _by_rule(shots: Sequence[Framed], keep: Keep) -> tuple[list[Framed], set[int]]:
    """The shots that are old enough, and those of them that go, by their numbers."""
    old = [one for one in shots if one.passed and one.age_days > keep.passed_days]
    return old, {one.shot_id for one in old if one.draw >= keep.share}


def _due(works: Works, shot: Framed, digests: dict[str, str], gone: frozenset[Forgotten]) -> Due | None:
    """A shot's folder with its files; None where all of it is gone.

    Raises
    ------
    Unusable
        Its folder is not in the works' `shots`, holds something else, or a file is not what was filed.
    """
    paths = [works.folder / one for one in shot.frames]
    folder = Path(os.path.commonpath([path.parent for path in paths]))
    if not (folder / SHOT_FILE).is_file() and (folder.parent / SHOT_FILE).is_file():
        folder = folder.parent
    if works.shots not in folder.parents:
        raise Unusable(folder, shot.tray, f"frames in a folder of their own in {works.shots}; these are left alone")
    expected = {*paths, folder / SHOT_FILE}
    present = {path for path in folder.rglob("*") if path.is_file()}
    other = sorted(path.name for path in present - expected)
    if other:
        raise Unusable(folder, shot.tray, "a folder with its shot's files alone; it is left alone", ", ".join(other))
    files = []
    for path in sorted(expected):
        kept = path.relative_to(works.folder).as_posix()
        digest = digests.get(kept)
        if path in present:
            now = file_digest(path)
            if digest is not None and digest != now:
                raise Unusable(path, shot.tray, "the file that was filed; it is left alone: see `brightbowl verify`")
            digest = now
        if digest is not None and (path in present or Forgotten(kept, digest) not in gone):
            files.append(Forgotten(kept, digest))
    if not files:
        return None
    return Due(frozenset([shot.shot_id]), shot.tray, folder, tuple(files), sum(path.stat().st_size for path in present))


def forget(store: Store, works: Works, acted: Acted) -> Plan:
    """Let go what the rule lets go now, and say what went: it is said in the chain, and only then the folders go.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.
    acted
        Who does it, and why.

    Returns
    -------
    Plan
        What went, and what stayed.

    Raises
    ------
    Unusable
        The works has no rule, its shots are in use, or the store or a folder can't be written.
    """
    with shots_alone(works):
        planned = plan(store, works)
        with store.write() as connection:
            # All their files were read since it was asked what may go: a verdict, a hold or a check may have come.
            _, going = _by_rule(framed_shots(store), planned.keep)
            due = tuple(one for one in planned.due if one.shots <= going)
            note_forgotten(connection, [file for one in due for file in one.files], planned.keep.words, acted)
        try:
            left = _delete(store, works)  # what a death left
            for one in due:
                if one.folder.exists():
                    one.folder.rename(one.folder.with_name(f".{one.folder.name}{_GONE}"))
            left += _delete(store, works)
        except OSError as fault:
            raise not_written(works.shots, fault) from None
    return replace(planned, due=due, left=tuple(dict.fromkeys((*planned.left, *left))))


def _delete(store: Store, works: Works) -> list[str]:
    """Delete the folders out of sight whose every file was forgotten; of the others a line each."""
    gone, left = forgotten_files(store), []
    for hidden in _out_of_sight(works.shots):
        shown = hidden.with_name(hidden.name.removeprefix(".").removesuffix(_GONE))
        present = {path: shown / path.relative_to(hidden) for path in hidden.rglob("*") if path.is_file()}
        kept = {path: before.relative_to(works.folder).as_posix() for path, before in present.items()}
        if all(Forgotten(name, file_digest(path)) in gone for path, name in kept.items()):
            shutil.rmtree(hidden)
            continue
        place = hidden
        if not shown.exists():
            place = hidden.rename(shown)
        expected = "a folder with its shot's files alone; it came meanwhile, and is left alone"
        left.append(str(Unusable(place, "", expected)))
    return left


def _out_of_sight(shots: Path) -> Sequence[Path]:
    def found() -> Iterator[Path]:
        for folder, names, _ in os.walk(shots):
            for name in [name for name in names if name.startswith(".") and name.endswith(_GONE)]:
                names.remove(name)
                yield Path(folder) / name

    return list(found())

"""Which limits judge in a works: those that a person put into force; and how a person does."""

from collections.abc import Collection
from contextlib import suppress
from pathlib import Path

from app.store import Acted, Revision, Store, limits_standing, release, revisions
from app.works.folder import Works
from vision.decide import LimitFault, limit_faults
from vision.errors import Unusable
from vision.formats import part_of_limits, read_limits, read_part, read_station, write_atomic, write_limits
from vision.records import Limits, LimitsStanding, Part

ON_TRIAL_ONLY: tuple[LimitsStanding, ...] = ("draft", "not in force")


def limits_judging(
    store: Store, works: Works | None, limits: Limits, file: Path, trial: bool = False
) -> LimitsStanding:
    """How limits stand that are about to judge for a store; a store alone lists nobody.

    Parameters
    ----------
    store
        The store of the works.
    works
        None for a store that stands alone.
    limits
        Limits of the part.
    file
        Where the limits came from, for errors.
    trial
        Whether what is judged counts for nothing.

    Returns
    -------
    LimitsStanding
        How they stand; released and in force, or why this is a trial.

    Raises
    ------
    Unusable
        They are not those in force, and this is no trial.
    """
    standing = limits_standing(store, limits, works is not None and bool(works.people))
    if standing in ON_TRIAL_ONLY and not trial:
        ruling = [str(one.limits.revision) for one in revisions(store, limits.part) if one.in_force]
        now = f"now revision {' or '.join(ruling)}" if ruling else "none yet"
        expected = f"the limits in force ({now}); put these there with `brightbowl limits release`, or judge --trial"
        raise Unusable(file, f"revision {limits.revision}", expected, standing)
    return standing


def read_limits_of(works: Works, file: Path) -> tuple[Limits, Part]:
    """Limits from any file, with the part of the works that they are of.

    Parameters
    ----------
    works
        The works.
    file
        A file of limits.

    Returns
    -------
    tuple[Limits, Part]
        The limits, and their part.

    Raises
    ------
    Unusable
        The file or the part's description is absent or wrong.
    """
    part = read_part(works.part_file(part_of_limits(file)))
    return read_limits(file, part), part


def faults_of(works: Works, limits: Limits, part: Part) -> tuple[LimitFault, ...]:
    """What is wrong with limits, at any station of the works.

    Parameters
    ----------
    works
        The works.
    limits
        Limits of the part.
    part
        The part.

    Returns
    -------
    tuple[LimitFault, ...]
        Each fault once; empty where there is none.
    """
    stations = [read_station(file) for file in sorted((works.folder / "stations").glob("*.toml"))]
    found = [fault for one in stations for fault in limit_faults(limits, part, one)] or limit_faults(limits, part)
    return tuple(dict.fromkeys(found))


def release_file(store: Store, works: Works, file: Path, acted: Acted) -> Revision:
    """Put the limits of a file into force.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.
    file
        A file of limits of one of the works' parts.
    acted
        Who does it, and why.

    Returns
    -------
    Revision
        The revision, in force.

    Raises
    ------
    Unusable
        As `release_limits`; the file is wrong.
    """
    limits, part = read_limits_of(works, file)
    return release_limits(store, works, limits, part, acted)


def release_limits(
    store: Store, works: Works, limits: Limits, part: Part, acted: Acted, shown: Collection[int] | None = None
) -> Revision:
    """Put limits into force; they are written into their place in the works folder.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.
    limits
        Limits of the part.
    part
        Theirs.
    acted
        Who does it, and why.
    shown
        The limits (`Revision.id`) that the person saw in force; None where nobody looked.

    Returns
    -------
    Revision
        The revision, in force.

    Raises
    ------
    Unusable
        They can't judge, their number is not above those released before, name or reason are missing, others came into
        force since, or the file can't be written; nothing was released then.
    """
    wrong = next((fault for fault in faults_of(works, limits, part) if fault.stops), None)
    if wrong is not None:
        raise Unusable(f"limits of {limits.part}", wrong.what, wrong.expected, wrong.found)
    newest = max((one.limits.revision for one in revisions(store, limits.part) if one.released_at), default=0)
    if limits.revision < newest:
        expected = f"a revision above {newest}, the highest released; to go back: brightbowl limits back"
        raise Unusable(f"limits of {limits.part}", "revision", expected, str(limits.revision))
    return _into_force(store, works, limits, acted, shown)


def go_back(store: Store, works: Works, part: str, revision: int, acted: Acted) -> Revision:
    """Put a revision into force that was before.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.
    part
        Its name.
    revision
        Its number.
    acted
        Who does it, and why.

    Returns
    -------
    Revision
        The revision, in force.

    Raises
    ------
    Unusable
        It never was, it is now, or name or reason are missing.
    """
    known = [one for one in revisions(store, part) if one.released_at is not None]
    found = next((one for one in known if one.limits.revision == revision), None)
    if found is None:
        numbers = ", ".join(str(one.limits.revision) for one in known) or "none yet"
        raise Unusable(f"limits of {part}", "revision", f"one that was in force before: {numbers}", str(revision))
    return _into_force(store, works, found.limits, acted)


def _into_force(
    store: Store, works: Works, limits: Limits, acted: Acted, shown: Collection[int] | None = None
) -> Revision:
    """Release limits and write them into their place: both or neither."""
    file = works.limits_file(limits.part)
    before = file.read_bytes() if file.is_file() else None
    try:
        return release(store, limits, acted, shown, lambda released: write_limits(released, file))
    except BaseException:
        # Where the store could not keep it after the file was written, the file is put back too.
        with suppress(OSError, Unusable):
            if before is None:
                file.unlink(missing_ok=True)
            elif file.read_bytes() != before:
                write_atomic(file, before)
        raise

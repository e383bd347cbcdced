"""Which judge of marks judges in a works: the one that comes with the program, or the works' own for a part."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from glob import escape
from pathlib import Path
from typing import TYPE_CHECKING

from vision.errors import Unusable
from vision.face import LINE_FEATURES, SPOTS, unknown_features
from vision.formats import not_written, read_judge, shipped_judge, write_judge
from vision.records import JudgeRelease, MarkJudge

if TYPE_CHECKING:
    from app.store import Acted
    from app.works.folder import Works


def judge_of_marks(file: Path | None) -> MarkJudge:
    """The judge of marks that judges.

    Parameters
    ----------
    file
        Of a works' own judge; None, or one that is not there: the one that comes with the program.

    Returns
    -------
    MarkJudge
        Released.

    Raises
    ------
    Unusable
        The file can't be read, is no released judge, or weighs what this version does not read.
    """
    if file is None or not file.is_file():
        return shipped_judge()
    judge = known_judge(file)
    if judge.status != "released":
        raise Unusable(file, "status", "a judge that was released with `brightbowl teach --release`", "draft")
    return judge


def known_judge(file: Path) -> MarkJudge:
    """Read a judge that weighs nothing but what this version reads.

    Parameters
    ----------
    file
        Of a judge, a draft or released.

    Returns
    -------
    MarkJudge
        The judge.

    Raises
    ------
    Unusable
        The file can't be read, or names a feature that is not read.
    """
    judge = read_judge(file)
    unknown = [
        *(name for model in (judge.sieve, judge.spots, judge.dust) for name in unknown_features(model, SPOTS)),
        *unknown_features(judge.lines, LINE_FEATURES),
    ]
    if unknown:
        expected = "features that this version reads; teach it anew, or take it back with `brightbowl teach --withdraw`"
        raise Unusable(file, "feature", expected, unknown[0])
    return judge


def release_judge(works: Works, part: str, acted: Acted) -> MarkJudge:
    """Put the draft of a works' own judge into force; the one before stays beside it, by its revision.

    Parameters
    ----------
    works
        The works.
    part
        The part whose marks it judges.
    acted
        Who releases it, and why.

    Returns
    -------
    MarkJudge
        As released.

    Raises
    ------
    Unusable
        There is no draft, or a file can't be written.
    """
    draft = works.judge_draft(part)
    if not draft.is_file():
        raise Unusable(draft, "", "a draft expected; make one with `brightbowl teach`", "none")
    at = datetime.now(UTC).isoformat(timespec="seconds")
    judge = replace(known_judge(draft), status="released", release=JudgeRelease(acted.by, at, acted.why))
    _keep(works, part)
    write_judge(judge, works.judge_file(part))
    with suppress(OSError):
        draft.unlink()
    return judge_of_marks(works.judge_file(part))


def next_judge_revision(works: Works, part: str) -> int:
    """The number of a works' next own judge for a part: above all that it had, and above the program's.

    Parameters
    ----------
    works
        The works.
    part
        The part.

    Returns
    -------
    int
        A revision.
    """
    own = [works.judge_file(part), *works.judge_file(part).parent.glob(f"{escape(part)}.revision-*.toml")]
    return 1 + max([shipped_judge().revision, *(read_judge(one).revision for one in own if one.is_file())])


def withdraw_judge(works: Works, part: str) -> None:
    """Have the judge that comes with the program judge a part again; the works' own stays beside, by its revision.

    Parameters
    ----------
    works
        The works.
    part
        The part.

    Raises
    ------
    Unusable
        There is none of the works' own, or its file can't be moved.
    """
    file = works.judge_file(part)
    if not file.is_file():
        raise Unusable(file, "", "a judge of the works' own expected", "none")
    _keep(works, part)


def _keep(works: Works, part: str) -> None:
    """Put the judge in force, where the works has one of its own, aside under its revision."""
    file = works.judge_file(part)
    if not file.is_file():
        return
    aside = file.with_name(f"{part}.revision-{read_judge(file).revision}.toml")
    try:
        file.replace(aside)
    except OSError as fault:
        raise not_written(aside, fault) from None

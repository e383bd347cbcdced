"""A part's judge of marks taught by the labels in a store: frames read again, a draft written with its report."""

from dataclasses import dataclass, replace
from pathlib import Path

from app.report import stamp_of, teaching_page, write_page
from app.run.labelled import labelled_marks
from app.run.teaching import LabelledMark, Teaching, lost_on, on_suites, teach
from app.store import Acted, Store, labels
from app.works import Works, judge_of_marks, known_judge, next_judge_revision, release_judge
from vision.errors import Unusable
from vision.formats import not_written, shipped_suites, write_judge
from vision.records import MarkJudge


@dataclass(frozen=True, slots=True, eq=False)
class TaughtPart:
    """What came of `teaching`: `report`, the page beside the draft; `left_out`, a line for each shot whose labels could
    not be used.
    """

    teaching: Teaching
    report: Path
    left_out: tuple[str, ...]


def release_taught(works: Works, part: str, acted: Acted) -> MarkJudge:
    """Put the draft of a part's judge into force, held against the suites once more: a file may have been edited since.

    Parameters
    ----------
    works
        The works.
    part
        The part.
    acted
        Who releases it, and why.

    Returns
    -------
    MarkJudge
        As released.

    Raises
    ------
    Unusable
        There is no draft, it loses on the suites against the judge in force, or a file can't be written.
    """
    draft = works.judge_draft(part)
    if draft.is_file():
        before = judge_of_marks(works.judge_file(part))
        lost = lost_on(on_suites(before, known_judge(draft), shipped_suites()))
        if lost:
            raise Unusable(draft, "", "a draft as `brightbowl teach` left it; teach it anew", lost)
    return release_judge(works, part, acted)


def teach_part(store: Store, works: Works, part: str) -> TaughtPart:
    """Teach a part's judge of marks, and write a draft, or none where it is refused, and in any case the report.

    Parameters
    ----------
    store
        Of the works, with the labels.
    works
        The works.
    part
        The part.

    Returns
    -------
    TaughtPart
        What came of it, and where it stands.

    Raises
    ------
    Unusable
        Something can't be written, or the judge in force can't be read.
    """
    before, draft = judge_of_marks(works.judge_file(part)), works.judge_draft(part)
    marks: list[LabelledMark] = []
    left_out: list[str] = []
    for found, words in labelled_marks(works, labels(store, part=part)):
        marks += found
        left_out += [words] if words else []
    teaching = teach(before, marks, shipped_suites())
    try:
        draft.parent.mkdir(exist_ok=True)
        draft.unlink(missing_ok=True)
    except OSError as fault:
        raise not_written(draft, fault) from None
    people = ", ".join(sorted({one.inspector for one in marks})) or "nobody"
    about = f"Part {part}, labels of {people}, taught from revision {before.revision}"
    page = teaching_page(teaching, about, tuple(left_out))
    report, *_ = write_page(page, draft.with_suffix(".html"), stamp_of(store, works.folder), pdf=False)
    if teaching.draft is not None:
        made = (f"{about}, {teaching.labels} labels", "; ".join(teaching.words), *teaching.draft.made)
        revision = next_judge_revision(works, part)
        write_judge(replace(teaching.draft, revision=revision, status="draft", made=made, release=None), draft)
    return TaughtPart(teaching, report, tuple(left_out))

"""When a works must inspect more tightly, may inspect less, or must stop: the switching rules of ISO 2859-1."""

from dataclasses import dataclass, replace

from app.statistics.sampling import Plan, Severity

RECENT = 5
"""Consecutive lots that the rules look back on, and that must be accepted to leave tightened inspection."""

REJECTED_FOR_TIGHTENED = 2
STOP_AFTER = 5
"""Lots not accepted on tightened inspection after which inspection stops until the process is mended."""

SCORE_FOR_REDUCED = 30


@dataclass(frozen=True, slots=True)
class Course:
    """Where a series of lots stands.

    `recent`: whether the last lots under this severity were accepted, at most five, newest last; `score`: the switching
    score on normal inspection; `rejected_tightened`: lots not accepted since tightened inspection began; `stopped`: no
    lot may be accepted by sampling until the process is mended.
    """

    severity: Severity = "normal"
    recent: tuple[bool, ...] = ()
    score: int = 0
    rejected_tightened: int = 0
    stopped: bool = False

    @property
    def may_reduce(self) -> bool:
        """Whether the score allows reduced inspection; production must be steady and those responsible must agree."""
        return self.severity == "normal" and self.score >= SCORE_FOR_REDUCED


def after_lot(course: Course, plan: Plan, bad: int) -> Course:
    """The course after a lot, inspected for the first time by `plan`, with `bad` pieces in the sample.

    ISO 2859-1:1999, 9.3 (from memory): to tightened when two of five or fewer consecutive lots were not accepted; back
    to normal after five accepted in a row; stop when five were not accepted on tightened; from reduced to normal at the
    first lot not accepted. What those responsible must say is never begun by itself: see `begin`.

    Parameters
    ----------
    course
        Where the lots of a series stand by the switching rules.
    plan
        By which the lot was inspected.
    bad
        Number of bad pieces in the sample.

    Returns
    -------
    Course
        The course for the next lot.
    """
    if course.stopped:
        return course
    accepted = bad <= plan.accept
    recent = (*course.recent, accepted)[-RECENT:]
    if course.severity == "reduced":
        return replace(course, recent=recent) if accepted else Course("normal", (False,))
    if course.severity == "tightened":
        rejected = course.rejected_tightened + (not accepted)
        if rejected >= STOP_AFTER:
            return replace(course, recent=recent, rejected_tightened=rejected, stopped=True)
        if len(recent) == RECENT and all(recent):
            return Course("normal")
        return replace(course, recent=recent, rejected_tightened=rejected)
    if recent.count(False) >= REJECTED_FOR_TIGHTENED:
        return Course("tightened")
    return replace(course, recent=recent, score=_score(course.score, plan, bad))


def _score(score: int, plan: Plan, bad: int) -> int:
    """The switching score: 2 more if a plan of 0 or 1 accepts, 3 more if a tighter AQL would accept, else from 0."""
    if plan.accept <= 1:
        return score + 2 if bad <= plan.accept else 0
    return score + 3 if plan.tighter_accept is not None and bad <= plan.tighter_accept else 0


def begin(course: Course, severity: Severity) -> Course | None:
    """The course that those responsible begin by their own word; None where the rules don't leave it to them.

    Parameters
    ----------
    course
        Where the lots of a series stand by the switching rules.
    severity
        What they would begin.

    Returns
    -------
    Course | None
        The new course; none where the rules don't leave it to them.
    """
    return Course(severity) if why_not_begin(course, severity) is None else None


def why_not_begin(course: Course, severity: Severity) -> str | None:
    """Why those responsible can't begin an inspection by their own word; None where they can.

    ISO 2859-1:1999, 9.3 (from memory): reduced inspection where the score allows it; back from it to normal, as where
    production is no longer steady; tightened again after inspection stopped and the process was mended.

    Parameters
    ----------
    course
        Where the lots of a series stand by the switching rules.
    severity
        What they would begin.

    Returns
    -------
    str | None
        The reason, in words; none where they can.
    """
    if course.stopped:
        return None if severity == "tightened" else "inspection has stopped; it begins again as tightened"
    if severity == course.severity:
        return f"inspection is {severity} already"
    if severity == "tightened":
        return "tightened inspection begins by itself, when two of five or fewer lots in a row are not accepted"
    if course.severity == "tightened":
        return f"tightened inspection ends by itself, when {RECENT} lots in a row are accepted"
    if severity == "reduced" and not course.may_reduce:
        return f"the switching score is {course.score}, and reduced inspection needs {SCORE_FOR_REDUCED}"
    return None

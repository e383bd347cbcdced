"""What a lot's figures and decisions are called, wherever they are shown."""

import numpy as np

from app.report.words import FAULTS, measure_words
from app.statistics import Estimate
from app.store import Decision
from app.studies import Acceptance, Escapes, LotYield

NAMED = "What people found wrong with the pieces that they rejected"


def first_reason_words(name: str) -> str:
    """A first reason in words: a measure with its zone, or a fault.

    Parameters
    ----------
    name
        As `app.studies.first_reason` has it.

    Returns
    -------
    str
        A few words.
    """
    measure, _, zone = name.partition(".")
    if name in FAULTS:
        return name.replace("_", " ")
    return f"{measure_words(measure).title}, {zone}" if zone else measure_words(measure).title


def escapes_words(found: Escapes | None) -> str:
    """Bad pieces in a million packed, with the interval and what it rests on; or why it can't be told.

    Parameters
    ----------
    found
        Bad pieces that pass; none where nobody looked.

    Returns
    -------
    str
        A sentence or two.
    """
    if found is None:
        return (
            "What the camera lets through can't be told: nobody judged, in a blind round, pieces of this part that the "
            "camera passes."
        )
    if found.per_million is None:
        return "The camera passes no piece of this lot: it lets none through, good or bad."
    whose = "this lot" if found.own else "other lots of this part, which this one must be like,"
    tied = f"; on {found.tied} they are tied, which count half" if found.tied else ""
    return (
        f"Bad pieces in a million packed: about {interval_words(found.per_million)}; in this lot "
        f"{interval_words(found.escaped)}. People who did not know the camera's verdict judged {found.seen} pieces of "
        f"{whose} that it passes and found {found.bad} bad{tied}."
    )


def yield_words(found: LotYield | None) -> str:
    """The share that goes to packing with its interval; a range where pieces wait.

    Parameters
    ----------
    found
        The lot's yield; none of no pieces.

    Returns
    -------
    str
        In percent.
    """
    if found is None:
        return "–"
    low, high = found.ci
    ends = f"({100 * low:.1f} to {100 * high:.1f})"
    if found.waiting == 0:
        return f"{100 * found.least:.1f} % {ends}"
    return (
        f"{100 * found.least:.1f} to {100 * found.most:.1f} % {ends}, as the {found.waiting} waiting pieces are sorted "
        "out or accepted"
    )


def interval_words(found: Estimate) -> str:
    """A number to three digits with its interval, as `41700 (12100 to 98600)`."""
    assert found.value is not None
    assert found.ci is not None
    value, low, high = (
        np.format_float_positional(number, precision=3, fractional=False, trim="-")
        for number in (found.value, *found.ci)
    )
    return f"{value} ({low} to {high})"


def sample_words(found: Acceptance, aql: float) -> str:
    """The plan of a lot by sample, and what the sample held.

    Parameters
    ----------
    found
        What the lot's sample came to.
    aql
        Acceptable quality limit, in percent nonconforming.

    Returns
    -------
    str
        A clause.
    """
    return (
        f"lot of {found.size}, AQL {aql:g} %, {found.severity} inspection: code letter {found.plan.letter}, the first "
        f"{found.plan.size} pieces photographed are the sample, accepted with at most {found.plan.accept} bad; "
        f"inspected {found.inspected}, bad {found.bad}"
    )


def next_words(found: Acceptance) -> str:
    """How the next lot is inspected, and what those responsible may say of it.

    Parameters
    ----------
    found
        What the lot's sample came to.

    Returns
    -------
    str
        A clause.
    """
    said = f"{found.course.severity} inspection"
    if found.course.stopped:
        said = "none: inspection has stopped until the process is mended; tightened inspection may then be begun"
    elif "reduced" in found.may_begin:
        said += "; reduced may be begun where production is steady"
    elif "normal" in found.may_begin:
        said += "; normal may be begun, as where production is no longer steady"
    if found.unheeded:
        said += f"; {', '.join(found.unheeded)} was chosen, but the rules don't allow it by this AQL and these pieces"
    return said


def decision_words(one: Decision) -> str:
    """What was decided.

    Parameters
    ----------
    one
        The decision.

    Returns
    -------
    str
        A word or two.
    """
    return one.decision if one.then is None else f"next lot {one.then}"

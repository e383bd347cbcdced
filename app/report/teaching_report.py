"""The report of a judge of marks that was taught: first what it would lose, then what it does before and after."""

from app.report.study_page import render
from app.run import Teaching


def teaching_page(teaching: Teaching, about: str, left_out: tuple[str, ...]) -> str:
    """The report as HTML that stands alone.

    Parameters
    ----------
    teaching
        What came of it.
    about
        Of which part, by whose labels.
    left_out
        A line for each shot whose labels could not be used.

    Returns
    -------
    str
        HTML.
    """
    return render("teaching.html", {"teaching": teaching, "about": about, "left_out": left_out})

"""What the reports of all studies share: their templates, how figures are printed, and the PDF."""

import base64
import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from glob import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment

from app.report.cautions import CAUTIONS
from app.report.glossary import GLOSSARY
from app.report.stamp import Stamp, stamped
from app.report.template_environment import template_environment
from app.statistics import Estimate
from app.studies import PieceKey
from vision.errors import Unusable
from vision.formats import not_written, write_atomic


def share(found: Estimate) -> str:
    """A proportion in percent with its interval, as `4.2 % (1.9 to 8.0)`; a dash where it is not defined.

    Parameters
    ----------
    found
        Value and interval.

    Returns
    -------
    str
        A text, in percent.
    """
    if found.value is None:
        return "–"
    return f"{_percent(found.value)} % {_interval(found, _percent)}".rstrip()


def coefficient(found: Estimate) -> str:
    """A coefficient with its interval, as `0.82 (0.71 to 0.93)`; a dash where it is not defined.

    Parameters
    ----------
    found
        Value and interval.

    Returns
    -------
    str
        A text.
    """
    if found.value is None:
        return "–"
    return f"{_hundredths(found.value)} {_interval(found, _hundredths)}".rstrip()


def _interval(found: Estimate, words: Any) -> str:
    return "" if found.ci is None else f"({words(found.ci[0])} to {words(found.ci[1])})"


def _percent(value: float) -> str:
    return f"{100 * value:.1f}".replace("-", "−")


def _hundredths(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def digits(value: float | None, count: int = 4) -> str:
    """A number to so many digits that count; a dash where there is none.

    Parameters
    ----------
    value
        A number; none: a dash.
    count
        How many digits.

    Returns
    -------
    str
        A text.
    """
    return "–" if value is None else f"{value:.{count}g}".replace("-", "−")


def probability(p: float | None) -> str:
    """A p value; very small ones are only bounded."""
    if p is None:
        return "–"
    return "< 0.0001" if p < 0.0001 else f"{p:.4f}"


def picture_text(path: Path) -> str:
    """A JPEG file as a data URI, so that a page stands alone."""
    return f"data:image/jpeg;base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"


@dataclass(frozen=True, slots=True)
class Pictured:
    """Where a reader sees a piece: `picture` a data URI, `link` its tray's page; each empty where there is none."""

    anchor: str
    picture: str
    link: str


@dataclass(frozen=True, slots=True)
class ReportFolders:
    """Where the results lie, as `inspect` leaves them (a works': by part and station), and the study page's folder."""

    results: Path
    page: Path


def pictured(report_folders: ReportFolders, key: PieceKey, *, embed: bool) -> Pictured:
    """Find a piece's own picture (it was flagged), else its tray's, which bears every piece's number.

    `embed`: whether the picture goes into the page. The link is relative, so that results and study can move together.
    """
    # A tray's name comes from a file: only a plain one is looked for among the folders.
    name = escape(key.tray) if Path(key.tray).name == key.tray else ""
    folders = (one for pattern in (name, f"*/*/{name}") if name for one in report_folders.results.glob(pattern))
    tray = next((folder for folder in folders if folder.is_dir()), report_folders.results)
    candidates = (tray / f"piece-{key.piece:02d}.jpg", tray / "tray.jpg")
    found = next((path for path in candidates if path.is_file()), None) if embed else None
    page = tray / "result.html"
    return Pictured(
        anchor=f"{key.tray}-{key.piece}",
        picture=picture_text(found) if found else "",
        link=f"{_relative(page, report_folders.page)}#piece-{key.piece}" if page.is_file() else "",
    )


def _relative(path: Path, start: Path) -> str:
    return quote(Path(os.path.relpath(path.resolve(), start.resolve())).as_posix())


@cache
def _environment() -> Environment:
    environment = template_environment()
    environment.globals.update(cautions=CAUTIONS, glossary=GLOSSARY)
    environment.filters.update(share=share, coefficient=coefficient, digits=digits, probability=probability)
    return environment


def render(template: str, values: Mapping[str, Any]) -> str:
    """A study's page as HTML that stands alone."""
    return _environment().get_template(template).render(**values)


def study_folder(out: Path) -> Path:
    """A study's folder, made where it is absent.

    Parameters
    ----------
    out
        Its path.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    Unusable
        It can't be made.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise not_written(out, fault) from None
    return out


def write_page(html: str, path: Path, stamp: Stamp | None, *, pdf: bool) -> list[Path]:
    """Write a page, and the same as PDF beside it where asked for; returns the files written.

    Parameters
    ----------
    html
        A page that stands alone.
    path
        Of the HTML; the PDF lies beside it.
    stamp
        The head of the chain, at the page's foot; none where there is no store.
    pdf
        Whether the PDF is asked for.

    Returns
    -------
    list[Path]
        The files written.

    Raises
    ------
    Unusable
        A file can't be written, or PDF is asked for without its library.
    """
    html = stamped(html, stamp)
    write_atomic(path, html)
    if not pdf:
        return [path]
    printed = path.with_suffix(".pdf")
    write_atomic(printed, pdf_bytes(html))
    return [path, printed]


def pdf_bytes(html: str) -> bytes:
    """A page as PDF.

    Parameters
    ----------
    html
        A page that stands alone.

    Returns
    -------
    bytes
        The file's content.

    Raises
    ------
    Unusable
        The library for PDF, or one that it needs, is not installed.
    """
    try:
        import weasyprint
    except (ImportError, OSError) as fault:
        raise Unusable(
            "--pdf",
            "",
            "the library weasyprint with pango: pip install brightbowl[pdf], or print the HTML",
            str(fault),
        ) from fault
    printed: bytes = weasyprint.HTML(string=html).write_pdf()
    return printed

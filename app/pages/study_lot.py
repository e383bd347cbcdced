"""A lot of the store for a study page: its results, what people said of them, and pictures of its pieces."""

import base64
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from pathlib import Path
from urllib.parse import urlencode

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from app.pages.cards import frames
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.report import PAPER, ReportFolders, pdf_bytes, stamp_of, stamped
from app.store import (
    LISTED,
    Choice,
    Which,
    blinds,
    head_of,
    known_parts,
    list_lots,
    newest_judgement,
    recall_results,
    samples_of,
    shown,
)
from app.studies import Lot, PieceColumns, PieceKey, Sample, columns_of

KEPT_S = 60
"""Seconds for which a lot's results are kept before they are read again: trays filed meanwhile show up then."""

SAID_KEPT_S = 10
"""The same for people's verdicts, which change while a study is looked at."""

PICTURED_AT_MOST = 24
WIDTH_PX = 300


@dataclass(frozen=True, slots=True, eq=False)
class StudyLot:
    """A lot of one part as results and as columns."""

    name: str
    part: str
    lot: Lot
    columns: PieceColumns


@dataclass(frozen=True, slots=True, eq=False)
class StudyHead:
    """What is chosen at the head of a study page: who looks at which lot, by whose verdicts."""

    server: ServerState
    who: Pass
    lot: StudyLot
    samples: list[Sample]


def study_head() -> StudyHead | None:
    """Draw the head of a study page; None while something is not chosen yet (the page then says what)."""
    server = current_server()
    choice, who = head(server)
    with choice:
        left, right = st.columns(2, vertical_alignment="center")
    with left:
        lot = _chosen_lot(server)
    if who is None:
        nobody_yet(server)
        return None
    if lot is None:
        return None
    with right:
        samples = _chosen_samples(server, lot)
    return StudyHead(server, who, lot, samples)


@st.cache_resource(ttl=KEPT_S, show_spinner="Reading the lot …")
def read_lot(_server: ServerState, lot: str, part: str) -> StudyLot:
    """A lot of one part, kept for a while."""
    trays = Lot(tuple(recall_results(_server.store, Which(lot=lot, part=part))))
    return StudyLot(lot, part, trays, columns_of(trays.pieces()))


def news(server: ServerState) -> int:
    """A number that grows with whatever is filed: what was read by it holds as long as it stays."""
    with server.store.read() as connection:
        return head_of(connection).links


def lot_pairs(server: ServerState, key: str) -> list[tuple[str, str]]:
    """The newest lots, each with each of its parts; where there are more, any that the person names."""
    newest = list_lots(server.store, LISTED)
    pairs = [(one.lot, part) for one in newest for part in one.parts]
    if len(newest) < LISTED:
        return pairs
    older = st.text_input("An older lot", key=key, placeholder="an older lot, by name", label_visibility="collapsed")
    return [*((older, part) for part in known_parts(server.store, older) if (older, part) not in pairs), *pairs]


def _chosen_lot(server: ServerState) -> StudyLot | None:
    """Let the person choose a lot; None while none is chosen or there is none."""
    pairs = lot_pairs(server, "study_older")
    if not pairs:
        st.info("The store holds no lot yet. Inspect trays into it: brightbowl inspect SHOTS --works WORKS")
        return None
    picked = st.selectbox(
        "Lot",
        pairs,
        index=0,
        format_func=lambda pair: f"{pair[0]}, {pair[1]}",
        key="study_lot",
        label_visibility="collapsed",
    )
    return read_lot(server, *picked)


IN_SIGHT = "all verdicts, also with the camera's in sight"


def _chosen_samples(server: ServerState, lot: StudyLot) -> list[Sample]:
    """Let the person choose whose verdicts count: those of all blind rounds, of one, or all that stand."""
    names = [one.name for one in blinds(server.store)]
    chosen = st.selectbox(
        "Verdicts of",
        [*names, IN_SIGHT],
        index=None,
        placeholder="all blind rounds",
        key="study_blind",
        label_visibility="collapsed",
        help="Verdicts of a blind round don't know what the camera said. Without a round, those of a table count.",
    )
    choice = Choice(in_sight=True) if chosen == IN_SIGHT else Choice(blind=chosen)
    return _samples(server, lot, choice)


def lot_key(lot: StudyLot) -> tuple[str, str, int]:
    """What tells one lot from another where something is kept for it."""
    return lot.name, lot.part, len(lot.columns)


@st.cache_resource(ttl=SAID_KEPT_S, show_spinner=False, hash_funcs={StudyLot: lot_key, Choice: repr})
def _samples(_server: ServerState, lot: StudyLot, choice: Choice) -> list[Sample]:
    return samples_of(_server.store, lot.name, lot.part, choice)


def piece_link(key: PieceKey, who: Pass) -> str:
    """The address that opens one piece on the bench."""
    return f"./?{urlencode({'piece': f'{key.tray}:{key.piece}', 'who': who.name})}"


def show_pieces(
    server: ServerState, pieces: Sequence[tuple[PieceKey, str]], who: Pass, at_most: int = PICTURED_AT_MOST
) -> None:
    """Pictures of pieces with a line of words each; a click opens the piece."""
    for_these = pieces[:at_most]
    if not for_these:
        return
    st.html(f'<div style="display:flex;flex-wrap:wrap;gap:14px">{"".join(_tiles(server, for_these, who))}</div>')
    if len(pieces) > at_most:
        st.markdown(f"The first {at_most} of {len(pieces)}.")


def _tiles(server: ServerState, pieces: Iterable[tuple[PieceKey, str]], who: Pass) -> Iterable[str]:
    listed = [(key, words, newest_judgement(server.store, key.tray, key.piece)) for key, words in pieces]
    known = shown(server.store, [judgement for _, _, judgement in listed if judgement is not None])
    for key, words, judgement in listed:
        name = escape(f"{key.tray}, piece {key.piece}")
        picture = ""
        one = None if judgement is None else known.get(judgement)
        seen = [] if one is None else frames(one)
        if seen:
            source = f"/desk/frame/{judgement}/{seen[0].id}.jpg"
            picture = (
                f'<img src="{source}" alt="Picture of {name}" loading="lazy" '
                f'style="width:{WIDTH_PX}px;max-height:{WIDTH_PX}px;object-fit:contain;display:block">'
            )
        yield (
            f'<a href="{escape(piece_link(key, who))}" target="_self" style="text-decoration:none;color:inherit;'
            f'width:{WIDTH_PX}px">{picture}<div><b>{name}</b><br>{escape(words)}</div></a>'
        )


def report_folders(server: ServerState) -> ReportFolders:
    """Where a report finds pictures: the works' results, or nowhere for a store alone."""
    folder = server.works.results if server.works is not None else Path("no-results")
    return ReportFolders(folder, folder)


def works_folder(server: ServerState) -> Path | None:
    """The works' folder; None for a store alone."""
    return None if server.works is None else server.works.folder


def stamped_page(server: ServerState, page: Callable[[], str]) -> Callable[[], str]:
    """A report with the head of the chain, as it is when the report is taken."""
    return lambda: stamped(page(), stamp_of(server.store, works_folder(server)))


def take_away(name: str, page: Callable[[], str], figures: Callable[[], str]) -> None:
    """Buttons for the report as HTML and as PDF and for the figures as JSON; each is made when it is asked for."""
    html, pdf, numbers = st.columns(3)
    with html:
        st.download_button("Report (HTML)", page, f"{name}.html", "text/html", on_click="ignore")
    with pdf:
        st.download_button(
            "Report (PDF)", lambda: pdf_bytes(page()), f"{name}.pdf", "application/pdf", on_click="ignore"
        )
    with numbers:
        st.download_button("Figures (JSON)", figures, f"{name}.json", "application/json", on_click="ignore")


@contextmanager
def uploaded(given: UploadedFile) -> Iterator[Path]:
    """A table that was chosen, as a file for as long as it is read; under its own name, which faults then say."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / Path(given.name).name
        path.write_bytes(given.getvalue())
        yield path


def show_chart(svg: str, words: str) -> None:
    """A chart on paper's own ground, in a dark room too; `words` say what it shows."""
    source = base64.b64encode(svg.encode()).decode("ascii")
    st.html(
        f'<img src="data:image/svg+xml;base64,{source}" alt="{escape(words)}" '
        f'style="width:100%;max-width:720px;background:{PAPER}">'
    )

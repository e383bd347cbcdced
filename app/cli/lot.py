"""`brightbowl lot`: a lot's figures and report; release and hold."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import click

from app.cli.finite import Finite
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.report import LotReport
    from app.statistics import Level, Severity
    from app.store import LotState, Store, Word
    from app.studies import Acceptance
    from app.works import Works

_FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)
_LEVELS = ("I", "II", "III", "S-1", "S-2", "S-3", "S-4")


@click.command()
@click.argument("lot", required=False)
@click.option("--works", type=_FOLDER, required=True, help="Works folder whose store holds the lot.")
@click.option("--part", help="Which part, where the lot is of several.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for lot.json and lot.html.")
@click.option("--pdf", is_flag=True, help="Write lot.pdf too.")
@click.option("--size", type=click.IntRange(min=2), help="Pieces in the whole lot, of which a sample was photographed.")
@click.option(
    "--aql", type=Finite(), default=1.0, show_default=True, help="Acceptance quality limit, % bad (ISO 2859-1)."
)
@click.option("--level", type=click.Choice(_LEVELS), default="II", show_default=True, help="Inspection level.")
@click.option("--release", "word", flag_value="release", help="Release the lot to packing; needs --by and --why.")
@click.option("--hold", "word", flag_value="hold", help="Hold it; needs --by and --why.")
@click.option(
    "--next",
    "then",
    type=click.Choice(("reduced", "normal", "tightened")),
    help="Inspection by sample from the next lot on, where ISO 2859-1 leaves the choice; needs --by and --why.",
)
@click.option("--by", help="Who decides.")
@click.option("--why", help="Why.")
@click.option(
    "--leave-waiting", is_flag=True, help="Release although pieces wait for review; they stay out of packing."
)
@click.option("--archive", is_flag=True, help="Write the released lot to WORKS/archive as Parquet, a row a piece.")
@click.option("--all", "every", is_flag=True, help="List every lot, not the newest only.")
def command(
    lot: str | None,
    works: Path,
    part: str | None,
    out: Path | None,
    pdf: bool,
    size: int | None,
    aql: float,
    level: Level,
    word: Literal["release", "hold"] | None,
    then: Severity | None,
    by: str | None,
    why: str | None,
    leave_waiting: bool,
    archive: bool,
    every: bool,
) -> None:
    """Tell what became of a LOT, release or hold it, and report it; without LOT, list the lots."""
    from app.works import read_works, who_acts

    place = read_works(works)
    with closing(place.open()) as store:
        if lot is None:
            _list(store, every)
            return
        from app.store import Wish, decide_as_it_stands, lot_state, series_up_to, state_size, stated_size
        from app.studies import accept_series

        state = lot_state(store, lot, part)
        if size is not None and size != stated_size(state.values, state.part):
            if size < state.figures.pieces:
                raise Unusable("--size", "", f"{state.figures.pieces} or more, as many as were photographed", str(size))
            state_size(store, lot, state.part, size, who_acts(place, by, "say how large a lot is").by)
            state = lot_state(store, lot, part)
        series = accept_series(series_up_to(store, state), aql, level) if state.size is not None else ()
        words: tuple[Word, ...] = tuple(one for one in (word, then) if one is not None)
        if words:
            if not why:
                raise Unusable(" and ".join(_option(word) for word in words), "", "--by NAME and --why REASON with it")
            acted = who_acts(place, by, "decide on a lot", why)
            wish = Wish(words, acted, leave_waiting, aql, level, place.challenge_hours)
            decide_as_it_stands(store, lot, state.part, wish)
            state = lot_state(store, lot, part)
            series = accept_series(series_up_to(store, state), aql, level) if series else ()
        if archive:
            _archive(place, store, state)
        for line in _summary(state, series[-1] if series else None, aql):
            click.echo(line)
        if out is not None:
            from app.report import lot_report

            _report(place, lot_report(store, state, series, aql, place.folder), out, pdf)


def _list(store: Store, every: bool) -> None:
    from app.store import LISTED, list_lots, standings

    found = list_lots(store, None if every else LISTED)
    standing = standings(store, found)
    for one in found:
        words = [standing.get((one.lot, part), "open") for part in one.parts]
        if len(words) > 1:
            words = [f"{part} {word}" for part, word in zip(one.parts, words, strict=True)]
        click.echo(
            f"{one.lot}: {', '.join(one.parts)}; {one.trays} trays, {one.pieces} pieces, "
            f"review {one.review}, reject {one.reject}; {'; '.join(words)}"
        )
    if len(found) == LISTED and not every:
        click.echo(f"these are the {LISTED} newest; --all lists every lot")
    if not found:
        click.echo("the store holds no lot yet; inspect trays into it: brightbowl inspect SHOTS --works WORKS")


def _archive(place: Works, store: Store, state: LotState) -> None:
    from app.store import archive_lot, kept_path

    file = place.archive_file(state.lot, state.part)
    count = archive_lot(store, state, file, kept_path(file, place.folder))
    click.echo(f"{count} pieces archived: {file}")


def _option(word: Word) -> str:
    return f"--{word}" if word in ("release", "hold") else f"--next {word}"


def _summary(state: LotState, acceptance: Acceptance | None, aql: float) -> list[str]:
    """The lot in some lines."""
    from app.report import (
        decision_words,
        escapes_words,
        first_reason_words,
        lot_limits_words,
        next_words,
        sample_words,
        share,
        whose_words,
        yield_words,
    )
    from app.studies import Fate

    figures = state.figures
    fates = ", ".join(f"{fate} {figures.fates[fate]}" for fate in get_args(Fate))
    said = [
        f"lot {state.lot}, {state.part}: {state.standing}; {figures.trays} trays, {figures.pieces} pieces: {fates}",
        f"to packing: {figures.to_packing}; yield {yield_words(figures.yielded)}; "
        f"first pass {share(figures.first_pass)}",
    ]
    said += lot_limits_words(state.content.limits)
    if figures.reasons:
        said.append(f"first reasons: {', '.join(f'{first_reason_words(r.name)} {r.count}' for r in figures.reasons)}")
    if acceptance is not None:
        said.append(
            f"by sample (ISO 2859-1): {acceptance.outcome}; {sample_words(acceptance, aql)}; "
            f"the next lot: {next_words(acceptance)}"
        )
    else:
        said.append(escapes_words(figures.escapes))
    if state.suspect:
        said.append(f"to be judged again: {', '.join(tray.tray for tray in state.suspect)}")
    said += [
        f"{decision_words(one)} by {whose_words(one.given_by, one.identity)} at {one.given_at}: {one.why}"
        for one in state.decisions
    ]
    return said


def _report(place: Works, report: LotReport, out: Path, pdf: bool) -> None:
    from app.report import ReportFolders, lot_page, lot_table, study_folder, write_page
    from app.studies import json_text
    from vision.formats import write_atomic

    study_folder(out)
    write_atomic(out / "lot.json", json_text(lot_table(report)))
    written = [
        out / "lot.json",
        *write_page(lot_page(report, ReportFolders(place.results, out)), out / "lot.html", report.stamp, pdf=pdf),
    ]
    click.echo(f"written: {', '.join(map(str, written))}")

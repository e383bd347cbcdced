"""`brightbowl lot`: a lot's figures and report; release and hold."""

from __future__ import annotations

import uuid
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.report.lot_page import LotReport
    from app.store.connection import Store
    from app.store.decisions import Word
    from app.store.lot_state import LotState
    from app.store.works import Works
    from app.study.lot_sampling import Acceptance
    from app.study.sampling import Level

_FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)
_LEVELS = ("I", "II", "III", "S-1", "S-2", "S-3", "S-4")


@click.command()
@click.argument("lot", required=False)
@click.option("--works", type=_FOLDER, required=True, help="Works folder whose store holds the lot.")
@click.option("--part", help="Which part, where the lot is of several.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for lot.json and lot.html.")
@click.option("--pdf", is_flag=True, help="Write lot.pdf too.")
@click.option("--size", type=click.IntRange(min=2), help="Pieces in the whole lot, of which a sample was photographed.")
@click.option("--aql", type=float, default=1.0, show_default=True, help="Acceptance quality limit, % bad (ISO 2859-1).")
@click.option("--level", type=click.Choice(_LEVELS), default="II", show_default=True, help="Inspection level.")
@click.option("--release", "word", flag_value="release", help="Release the lot to packing; needs --by and --why.")
@click.option("--hold", "word", flag_value="hold", help="Hold it; needs --by and --why.")
@click.option("--by", help="Who decides.")
@click.option("--why", help="Why.")
@click.option(
    "--leave-waiting", is_flag=True, help="Release although pieces wait for review; they stay out of packing."
)
def command(
    lot: str | None,
    works: Path,
    part: str | None,
    out: Path | None,
    pdf: bool,
    size: int | None,
    aql: float,
    level: Level,
    word: Word | None,
    by: str | None,
    why: str | None,
    leave_waiting: bool,
) -> None:
    """Tell what became of a LOT, release or hold it, and report it; without LOT, list the lots."""
    from app.store.works import read_works

    place = read_works(works)
    with closing(place.open()) as store:
        if lot is None:
            _list(store)
            return
        from app.store.lot_state import LOT_SIZE, lot_state, series_up_to
        from app.store.lots import set_lot_value
        from app.study.lot_sampling import accept_series

        state = lot_state(store, lot, part)
        if size is not None and size != state.values.get(LOT_SIZE):
            if size < state.figures.pieces:
                raise Unusable("--size", "", f"{state.figures.pieces} or more, as many as were photographed", str(size))
            set_lot_value(store, lot, LOT_SIZE, float(size), by or "brightbowl lot")
            state = lot_state(store, lot, part)
        series = accept_series(series_up_to(store, state), aql, level) if state.size is not None else ()
        if word is not None:
            against = state.why_not_released(leave_waiting, series[-1] if series else None)
            _decide(store, state, (word, against if word == "release" else None), (by, why))
            state = lot_state(store, lot, part)
        for line in _told(state, series[-1] if series else None, aql):
            click.echo(line)
        if out is not None:
            from app.report.lot_page import lot_report

            _report(place, lot_report(store, state, series, aql), (out, pdf))


def _list(store: Store) -> None:
    from app.store.decisions import decisions
    from app.store.lots import lots

    found = lots(store)
    for one in found:
        taken = decisions(store, one.lot)
        standing = {"release": "released", "hold": "held"}[taken[-1].decision] if taken else "open"
        click.echo(
            f"{one.lot}: {', '.join(one.parts)}; {one.trays} trays, {one.pieces} pieces, "
            f"review {one.review}, reject {one.reject}; {standing}"
        )
    if not found:
        click.echo("the store holds no lot yet; inspect trays into it: brightbowl inspect SHOTS --works WORKS")


def _decide(store: Store, state: LotState, word: tuple[Word, str | None], who: tuple[str | None, str | None]) -> None:
    """File a decision; with `word` comes what speaks against it."""
    from app.store.decisions import Decision, decide

    (decision, against), (by, why) = word, who
    if not by or not why:
        raise Unusable(f"--{decision}", "", "--by NAME and --why REASON with it")
    if against:
        expected = "a lot that may be released (--leave-waiting leaves waiting pieces out of packing)"
        raise Unusable(f"lot {state.lot}", "--release", expected, against)
    decide(store, Decision(str(uuid.uuid4()), state.lot, decision, by, "declared", why, state.seen()))


def _told(state: LotState, acceptance: Acceptance | None, aql: float) -> list[str]:
    """The lot in some lines."""
    from app.report.lot_charts import reason_words
    from app.report.study_page import share
    from app.study.lot_figures import Fate

    figures = state.figures
    fates = ", ".join(f"{fate} {figures.fates[fate]}" for fate in get_args(Fate))
    said = [
        f"lot {state.lot}, {state.part}: {state.standing}; {figures.trays} trays, {figures.pieces} pieces: {fates}",
        f"to packing: {figures.to_packing}; yield {share(figures.yielded)}, first pass {share(figures.first_pass)}",
    ]
    if figures.reasons:
        said.append(f"first reasons: {', '.join(f'{reason_words(r.name)} {r.count}' for r in figures.reasons)}")
    if acceptance is not None:
        said.append(
            f"sample after ISO 2859-1 for a lot of {acceptance.size}, AQL {aql:g} %, {acceptance.severity}: "
            f"{acceptance.plan.size} pieces, accept {acceptance.plan.accept}; bad {acceptance.bad}: "
            f"{acceptance.outcome}"
        )
    elif figures.escapes is not None:
        said.append(f"bad pieces in a million packed: {figures.escapes.per_million.value:.3g}")
    if state.doubtful:
        said.append(f"to be judged again: {', '.join(tray.tray for tray in state.doubtful)}")
    said += [f"{one.decision} by {one.given_by} at {one.given_at}: {one.why}" for one in state.decisions]
    return said


def _report(place: Works, report: LotReport, into: tuple[Path, bool]) -> None:
    from app.report.lot_page import lot_page, lot_table
    from app.report.study_page import Places, study_folder, write_page
    from app.study.study_files import json_text
    from vision.files.whole import write_whole

    out, pdf = into
    study_folder(out)
    write_whole(out / "lot.json", json_text(lot_table(report)))
    written = [out / "lot.json", *write_page(lot_page(report, Places(place.results, out)), out / "lot.html", pdf=pdf)]
    click.echo(f"written: {', '.join(map(str, written))}")

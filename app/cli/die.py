"""`brightbowl die`: how dies wear, and marks that come back at one place."""

from contextlib import closing
from pathlib import Path

import click

from vision.errors import Unusable

_FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)


@click.command()
@click.option("--works", type=_FOLDER, required=True, help="Works folder whose store holds the trays.")
@click.option("--part", help="Which part, where the store holds several.")
@click.option("--die", "only", help="Only one die's wear; marks are held against all dies still.")
@click.option("--lot", help="Only one lot's trays.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="For die.json, die.html.")
@click.option("--pdf", is_flag=True, help="Write die.pdf too.")
def command(works: Path, part: str | None, only: str | None, lot: str | None, out: Path, pdf: bool) -> None:
    """Follow the dies of a part over their strokes: wear, strokes left, changes, and marks at one place."""
    from app.report import (
        DieReport,
        break_words,
        die_page,
        die_table,
        left_words,
        rate_words,
        stamp_of,
        study_folder,
        write_page,
    )
    from app.store import history_of, known_parts
    from app.studies import json_text, study_dies
    from app.works import read_works
    from vision.formats import write_atomic

    with closing(read_works(works).open()) as store:
        known = known_parts(store, lot)
        if part is None and len(known) != 1:
            raise Unusable("--part", "", f"one of {', '.join(known) or 'none yet; inspect trays first'}", "none")
        history = history_of(store, part or known[0], lot)
        stamp = stamp_of(store, works)
    chosen = tuple(one for one in history.histories if only in (None, one.die))
    if only is not None and not chosen:
        dies = ", ".join(one.die for one in history.histories)
        raise Unusable("--die", "", f"one of {dies or 'none yet; name die and strokes in shot.json'}", only)
    study = study_dies(chosen, history.marks, history.pieces_by_die, history.ground, history.limits)
    report = DieReport(history, study)
    for wear in study.dies:
        click.echo(f"die {wear.history.die}: {wear.zone} {rate_words(wear)}; {break_words(wear)}; {left_words(wear)}")
    for line in study.same.words:
        click.echo(line)
    study_folder(out)
    write_atomic(out / "die.json", json_text(die_table(report)))
    written = [out / "die.json", *write_page(die_page(report), out / "die.html", stamp, pdf=pdf)]
    click.echo(f"written: {', '.join(map(str, written))}")

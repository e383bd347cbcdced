"""A whole run: the files that judge, every shot, `pieces.csv`, the index page, and a summary of what came out."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from app.run.batch import inspect_batch
from app.run.cluster import Cluster, inspect_on
from app.run.shot import Work
from app.studies import first_reason, reason_name
from app.works import RESULT_FILE, shot_folder
from vision.decide import no_zone_left, undecidable
from vision.errors import Unusable
from vision.formats import read_result, write_pieces
from vision.records import TrayResult, Verdict

PIECES_FILE = "pieces.csv"
VERDICTS: tuple[Verdict, ...] = ("pass", "review", "reject")


@dataclass(slots=True)
class Summary:
    """What a run came to: counts, first reasons, empty trays, every failure as a line, limits that nothing can pass.

    `folders`: of the results of each shot that was judged.
    """

    trays: int = 0
    empty: list[str] = field(default_factory=list)
    verdicts: Counter[Verdict] = field(default_factory=Counter)
    first_reasons: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    undecidable: dict[str, str] = field(default_factory=dict)
    limits: list[str] = field(default_factory=list)
    folders: list[Path] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The summary as a person reads it, failures left out."""
        pieces = self.verdicts.total()
        counts = ", ".join(f"{verdict} {self.verdicts[verdict]}" for verdict in VERDICTS)
        said = [f"{self.trays} {_plural(self.trays, 'tray')} judged, {pieces} {_plural(pieces, 'piece')}: {counts}"]
        said += self.limits
        if self.first_reasons:
            ranked = ", ".join(f"{name} {number}" for name, number in self.first_reasons.most_common())
            said.append(f"first reasons: {ranked}")
        if self.empty:
            said.append(f"no piece on {len(self.empty)} {_plural(len(self.empty), 'tray')}: {', '.join(self.empty)}")
        return said


def run(folders: Sequence[Path], work: Work, jobs: int | Cluster, seen: Callable[[int, str], None]) -> Summary:
    """Inspect all shots, write `OUT/pieces.csv` and the index page, and sum up.

    Parameters
    ----------
    folders
        Of shots.
    work
        By what they are judged, and where results go.
    jobs
        How many processes of this machine work side by side, or the cluster whose workers do.
    seen
        Called with a number of shots that ended and words on where others are, for a progress bar.

    Returns
    -------
    Summary
        Counts, failures and the folders of results.
    """
    from app.report import limits_words  # here, since the batch's processes need not load it

    summary = Summary(limits=limits_words((work.standing,)))
    if isinstance(jobs, Cluster):
        outcomes = inspect_on(jobs, folders, work, lambda words: seen(0, words))
    else:
        outcomes = inspect_batch(folders, work, jobs)
    slim: list[TrayResult] = []
    for outcome in outcomes:
        seen(1, "")
        summary.failures += outcome.failures
        if outcome.result:
            _count(outcome.result, work, summary)
            summary.folders.append(shot_folder(work.out, outcome.result))
            slim.append(_slim(outcome.result))
    try:
        stored = (read_result(shot_folder(work.out, result) / RESULT_FILE) for result in slim)
        write_pieces(work.out / PIECES_FILE, work.part, stored)
        if work.pictures:
            from app.report import write_index  # here, since a run without pictures need not load it

            write_index(work.out, slim, work.stamp)
    except Unusable as fault:
        summary.failures.append(str(fault))
    summary.failures += summary.undecidable.values()
    return summary


def _count(result: TrayResult, work: Work, summary: Summary) -> None:
    summary.trays += 1
    if not result.pieces:
        summary.empty.append(result.tray)
    for piece in result.pieces:
        summary.verdicts[piece.verdict] += 1
        if piece.verdict != "pass":
            summary.first_reasons[first_reason(piece)] += 1
        for reason in piece.reasons:
            if undecidable(reason, work.limits.coverage) and reason.uncertainty is not None:
                fault = no_zone_left(reason, reason.uncertainty, work.limits.coverage)
                # The first piece that shows it stands for all.
                summary.undecidable.setdefault(
                    reason_name(reason), str(Unusable(f"limits of {work.limits.part}", reason_name(reason), *fault))
                )


def _slim(result: TrayResult) -> TrayResult:
    """A result without what takes memory, so that thousands of trays don't pile up: the index shows verdicts only."""
    pieces = tuple(
        replace(piece, reasons=(), measures={}, uncertainties={}, findings=(), counted=()) for piece in result.pieces
    )
    return replace(result, pieces=pieces)


def _plural(number: int, noun: str) -> str:
    return noun if number == 1 else f"{noun}s"

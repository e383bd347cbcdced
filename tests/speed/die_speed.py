"""How quick the page *Dies* is: python -m tests.speed.die_speed [PIECES] [STORE]. Figures for docs/benchmarks/store.md.

Pieces without pictures, ten a tray, of four dies that wear; every tray's strokes are known. What the page computes is
timed: what the server reads as it starts, the page opened, and opened again after more was filed.
"""

import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np

from app.pages.die_reports import DieReports
from app.report import control_charts, places_picture, trend_chart, wear_map_picture
from app.store import Store, open_store
from app.store.results.filing import ToFile, file_result
from tests.store.made import LIMITS, PART, STATION, made_piece, made_profile, made_tray
from vision.formats.profiles import Profile

PIECES = 50_000
ON_TRAY, DIES = 10, 4
VERDICTS = ("pass",) * 8 + ("review", "reject")
WEAR_MM, WORN_AFTER = 0.04, 5000
STROKES = 100.0


def main(pieces: int, place: Path) -> None:
    """Fill a store where there is none, time the page's work."""
    if not place.exists():
        begun = time.perf_counter()
        with closing(open_store(place)) as store:
            for tray in range(pieces // ON_TRAY):
                _file(store, tray)
        print(f"{pieces} pieces, {pieces // ON_TRAY} trays, {DIES} dies, filed in {time.perf_counter() - begun:.0f} s")
    store = open_store(place)
    reports = DieReports()
    begun = time.perf_counter()
    while not reports.at_hand(store, PART.part)[1]:
        time.sleep(0.01)  # not taken from the thread that reads
    print(f"read and studied, which the server does as it starts: {time.perf_counter() - begun:.1f} s")
    _opened(reports, store, "opened")
    already, _ = reports.at_hand(store, PART.part)
    assert already is not None
    known = sum(already.history.pieces_by_die.values()) // ON_TRAY
    for tray in range(known, known + 3):
        _file(store, tray)
        _opened(reports, store, "opened after one more tray was filed")
        begun = time.perf_counter()
        while not reports.at_hand(store, PART.part)[1]:
            time.sleep(0.01)
        print(f"  that tray is in it {time.perf_counter() - begun:.1f} s later")
    store.close()


def _file(store: Store, tray: int) -> None:
    made = [made_piece(k + 1, verdict, 0.2 + (tray * 7919 % 1000) / 1e4) for k, verdict in enumerate(VERDICTS)]
    taken_at = (
        f"2026-{1 + tray // 40320 % 12:02d}-{1 + tray // 1440 % 28:02d}T{tray // 60 % 24:02d}:{tray % 60:02d}:00+00:00"
    )
    result = made_tray(f"T-{tray:06d}", made, f"L-2611-{tray // 200:03d}", taken_at, f"D{1 + tray % DIES}")
    result.process["strokes"] = STROKES * (tray // DIES)
    worn = WEAR_MM * tray / WORN_AFTER
    profiles = {}
    for number in range(1, ON_TRAY + 1):
        one = made_profile(ON_TRAY * tray + number)
        profiles[number] = Profile(one.s_mm, one.deviation_mm - worn * np.exp(-(((one.s_mm - 60.0) / 15.0) ** 2)))
    file_result(store, ToFile(result, (), PART, STATION, LIMITS, profiles))


def _opened(reports: DieReports, store: Store, when: str) -> None:
    """What a page does: the report, and the pictures of the die that is chosen first."""
    begun = time.perf_counter()
    report, _ = reports.at_hand(store, PART.part)
    at_hand_s = time.perf_counter() - begun
    assert report is not None
    wear = report.study.dies[0]
    trend_chart(wear)
    if wear.map is not None:
        wear_map_picture(wear, report.history.part)
    control_charts(report.study.charts[wear.history.die])
    places_picture(list(report.study.same.places), report.history.part)
    print(f"{when}: {time.perf_counter() - begun:.2f} s, {at_hand_s:.2f} of it for the report (asked: under 1)")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        main(
            int(sys.argv[1]) if len(sys.argv) > 1 else PIECES,
            Path(sys.argv[2] if len(sys.argv) > 2 else Path(folder) / "store.sqlite"),
        )

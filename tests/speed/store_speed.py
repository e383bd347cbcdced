"""How the store does at 200,000 pieces: size, opening the queue, the next pieces, one verdict.

Run by hand: `python tests/speed/store_speed.py [PIECES] [STORE]`. Prints medians, beside what is asked for; how quick
the page is in a browser, `page_speed.py` beside it tells.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import text

from app.pages.cards import cards
from app.pages.server_state import ServerState
from app.store.database.connection import Store, now, open_store
from app.store.lots.lot_list import list_lots
from app.store.people.review_queue import Holder, choices, claim, waiting, waiting_count
from app.store.people.verdicts import NewVerdict, give
from app.store.people.wanted import Wanted
from app.store.results.filing import ToFile, file_result
from app.store.results.shown import newest_judgements
from tests.store.made import LIMITS, PART, STATION, made_piece, made_profile, made_tray

PIECES = 200_000
ON_TRAY = 10
REPEATS = 25
VERDICTS = ("pass",) * 8 + ("review", "reject")


def fill(store: Store, pieces: int) -> None:
    """File trays of ten, two of them flagged, with profiles; a lot is 200 trays."""
    profiles = {number: made_profile(number) for number in range(1, ON_TRAY + 1)}
    for tray in range(pieces // ON_TRAY):
        made = [made_piece(k + 1, verdict, 0.2 + (tray * 7919 % 1000) / 1e4) for k, verdict in enumerate(VERDICTS)]
        taken_at = f"2026-11-{1 + tray // 1440 % 28:02d}T{tray // 60 % 24:02d}:{tray % 60:02d}:00+00:00"
        result = made_tray(f"T-{tray:06d}", made, f"L-2611-{tray // 200:03d}", taken_at, f"D{1 + tray % 4}")
        file_result(store, ToFile(result, (), PART, STATION, LIMITS, profiles))


def median_ms(work: Callable[[], object]) -> float:
    """Median of a few runs."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append((time.perf_counter() - start) * 1000.0)
    return statistics.median(times)


def main(pieces: int, place: str) -> None:
    """Fill a store and time what a page asks of it."""
    store = open_store(place)
    start = time.perf_counter()
    fill(store, pieces)
    took_s = time.perf_counter() - start
    print(f"{pieces} pieces filed in {took_s:.0f} s ({pieces / took_s:.0f} a second)")
    if "://" not in place:
        with store.write() as connection:
            size = connection.execute(text("PRAGMA page_count")).scalar_one() * 4096
        print(f"size: {size / pieces:.0f} B a piece (asked: at most 4000)")
    worst, holder = Wanted(), Holder("speed", "R. Hale")
    number = 0

    def opened() -> None:
        waiting_count(store, worst)
        choices(store)
        waiting(store, worst, 200)

    def next_pieces() -> None:
        taken = claim(store, holder, worst, 14)
        newest = newest_judgements(store, taken)
        cards(ServerState(store, None), [newest[one] for one in taken], "R. Hale")

    def one_piece() -> None:
        (taken,) = claim(store, holder, worst, 1)
        cards(ServerState(store, None), [newest_judgements(store, [taken])[taken]], "R. Hale")

    def verdict() -> None:
        nonlocal number
        number += 1
        (taken,) = claim(store, holder, worst, 1)
        give(store, NewVerdict(f"speed-{time.time_ns()}", taken, None, "R. Hale", "declared", "accept", (), "", now()))

    print(f"queue opened: {median_ms(opened):.0f} ms (asked: under 1000)")
    print(f"next piece, claimed and laid out: {median_ms(one_piece):.0f} ms (asked: under 100)")
    print(f"fourteen pieces at once: {median_ms(next_pieces):.0f} ms")
    print(f"one piece claimed and judged: {median_ms(verdict):.0f} ms")
    for wanted in (Wanted(order="oldest"), Wanted(lot="L-2611-050"), Wanted(measure="outline_out_mm", die="D2")):
        count = waiting_count(store, wanted)
        print(f"{wanted}: {count} wait, listed in {median_ms(lambda w=wanted: waiting(store, w, 200)):.0f} ms")
    start = time.perf_counter()
    print(f"{len(list_lots(store))} lots summed up in {time.perf_counter() - start:.2f} s")
    store.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        main(
            int(sys.argv[1]) if len(sys.argv) > 1 else PIECES,
            sys.argv[2] if len(sys.argv) > 2 else str(Path(folder) / "store.sqlite"),
        )

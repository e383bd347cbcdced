"""What stands agrees with a plain truth after every step of random sequences; more of them: see `standing_model`."""

from pathlib import Path

from tests.store.postgresql_server import new_database
from tests.store.standing_model import new_files, play


def test_what_stands_waits_and_is_packed_agrees_with_the_truth(tmp_path: Path) -> None:
    play(6, 10, new_files(tmp_path), seed=0)


def test_so_it_does_on_postgresql(postgresql: str, tmp_path: Path) -> None:
    count = iter(range(1000))
    play(2, 6, lambda: new_database(postgresql, f"{tmp_path.name}_{next(count)}"), seed=0)

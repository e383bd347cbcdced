"""A database that was restored from a dump is walked before it answers, once; and a store in use is not replaced."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from app.store.database import connection as opening
from app.store.database.connection import open_store
from app.store.database.restored import note_walked
from app.store.evidence.verify import verify
from app.store.results.filing import file_result
from app.works.backup import back_up, restore
from app.works.folder import new_works
from tests.store.made import made_tray, to_file
from tests.store.postgresql_server import copied_database, drop_database, new_database
from vision.errors import Unusable


@pytest.fixture(scope="module")
def dumped(postgresql: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a database with a tray that nobody uses any more."""
    name = tmp_path_factory.mktemp("dumped").name
    with closing(open_store(new_database(postgresql, name))) as store:
        file_result(store, to_file(made_tray()))
    yield name
    drop_database(postgresql, name)


@pytest.fixture
def restored(postgresql: str, dumped: str, tmp_path: Path) -> Iterator[str]:
    """A store in a database that was made as a copy of another, as a dump brought back is."""
    yield copied_database(postgresql, tmp_path.name, dumped)
    drop_database(postgresql, tmp_path.name)


def past_the_program(place: str, statement: str) -> None:
    engine = create_engine(place.replace("postgresql:", "postgresql+psycopg:"))
    with engine.begin() as connection:
        connection.exec_driver_sql("SET session_replication_role = replica")  # no trigger fires
        assert connection.exec_driver_sql(statement).rowcount != 0
    engine.dispose()


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE judgement SET verdict = 'pass' WHERE verdict = 'reject'",
        "DELETE FROM measure",
        "DELETE FROM chain_link",
        "UPDATE lot_sum SET pieces = 9",
        "DELETE FROM bench",
    ],
)
def test_what_a_restored_dump_lost_or_changed_is_told_before_anything_is_answered(restored: str, damage: str) -> None:
    past_the_program(restored, damage)
    for _ in range(2):
        with pytest.raises(Unusable, match="this one was restored and is damaged"):
            open_store(restored)
    with closing(open_store(restored, walk=False)) as store:  # as `brightbowl verify` does, to tell more
        assert verify(store, None).broken


def test_a_sound_one_is_walked_once(restored: str, monkeypatch: pytest.MonkeyPatch) -> None:
    open_store(restored).close()
    monkeypatch.setattr("app.store.evidence.verify.verify", None)  # whoever walks again falls over it
    open_store(restored).close()


def test_a_large_one_answers_once_verify_has_walked_it(restored: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "_WALKED_LINKS", 3)
    with pytest.raises(Unusable, match="restored from a dump: brightbowl verify first"):
        open_store(restored)
    with closing(open_store(restored, walk=False)) as store:
        assert verify(store, None).broken == ()
        note_walked(store)
    open_store(restored).close()


def test_a_store_that_somebody_has_open_is_not_replaced(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    back_up(works, tmp_path / "backup.zip")
    with closing(works.open()), pytest.raises(Unusable, match="a store that nobody has open"):
        restore(tmp_path / "backup.zip", works.folder)
    assert not list(works.folder.glob("*.before-*"))
    assert restore(tmp_path / "backup.zip", works.folder).aside is not None
    (works.folder / works.store_address).unlink()  # a store made a moment ago is in use as any other is
    with closing(works.open()), pytest.raises(Unusable, match="a store that nobody has open"):
        restore(tmp_path / "backup.zip", works.folder)

"""Who puts limits into force, of which store, and what it leaves behind where it fails."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from app.store.database.connection import Store
from app.store.lots.revisions import limits_standing, revisions
from app.store.people.actor import Acted
from app.works import limits_in_force
from app.works.folder import Person, Works
from app.works.limits_in_force import release_file, release_limits
from app.works.roles import who_acts
from tests.cli.test_limits import PEOPLE, made
from vision.errors import Unusable
from vision.formats.limits import read_limits
from vision.formats.part import read_part


@pytest.fixture
def works(tmp_path: Path) -> Works:
    return made(tmp_path, PEOPLE)


def test_an_account_is_who_it_says(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("getpass.getuser", lambda: "rhale")
    known = replace(works, people=(replace(PEOPLE[0], account="rhale"), replace(PEOPLE[1], account="mok")))
    assert who_acts(known, None, "release limits", "why") == Acted("R. Hale", "account", "why")
    assert who_acts(works, "R. Hale", "release limits").known == "declared"
    monkeypatch.setattr("getpass.getuser", lambda: "mok")
    with pytest.raises(Unusable, match="from their own account, rhale"):
        who_acts(known, "R. Hale", "release limits")
    with pytest.raises(Unusable, match="the role release, which has: R"):
        who_acts(known, None, "release limits")


def test_one_person_may_hold_every_role(works: Works) -> None:
    alone = replace(works, people=(Person("R. Hale", ("review", "tune", "release"), None),))
    for act in ("review", "begin a blind round", "calibrate", "import", "release limits", "decide on a lot"):
        assert who_acts(alone, "R. Hale", act).by == "R. Hale"  # type: ignore[arg-type]


def test_limits_of_a_store_from_before_stay_in_force(works: Works) -> None:
    """As the migration leaves them: every revision held as released, until somebody releases one."""
    store: Store = works.open()
    limits = read_limits(works.limits_file("TS-135"), read_part(works.part_file("TS-135")))
    older = replace(limits, revision=2)
    with store.write() as connection:
        from app.store.lots.revisions import file_limits

        for one in (older, limits):
            file_limits(connection, one)
        connection.exec_driver_sql(
            "INSERT INTO limits_act (limits_id, given_by, identity, why, given_at)"
            " SELECT id, '', 'before roles', 'released before roles', filed_at FROM limits_revision"
        )
    assert {limits_standing(store, one, True) for one in (older, limits)} == {"released before roles"}
    assert limits_standing(store, replace(limits, coverage=0.9), True) == "not in force"
    release_file(store, works, works.limits_file("TS-135"), Acted("R. Hale", "login", "as before"))
    assert limits_standing(store, limits, True) == "in force"
    assert limits_standing(store, older, True) == "not in force"
    assert [one.in_force for one in revisions(store, "TS-135")] == [False, True]
    store.close()


def test_a_release_whose_file_can_not_be_written_is_taken_back(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    part = read_part(works.part_file("TS-135"))
    file = works.limits_file("TS-135")
    limits, before = read_limits(file, part), file.read_bytes()
    draft = replace(limits, revision=limits.revision + 1, status="draft")
    hale = Acted("R. Hale", "login", "steadier")

    def full(*_: object) -> None:
        raise Unusable(file, "", "expected room on the disk")

    with closing(works.open()) as store:
        for name in ("write_limits", "release"):  # the file, and the store once the file is written
            with monkeypatch.context() as broken:
                if name == "write_limits":
                    broken.setattr(limits_in_force, name, full)
                else:
                    broken.setattr(limits_in_force, name, lambda _s, to, _a, _seen, write: (write(to), full()))
                with pytest.raises(Unusable, match="room on the disk"):
                    release_limits(store, works, draft, part, hale)
            assert [one for one in revisions(store, "TS-135") if one.released_at] == []
            assert file.read_bytes() == before
        assert release_limits(store, works, draft, part, hale).in_force
        assert read_limits(file, part) == replace(draft, status="released")


def test_limits_that_changed_since_they_were_shown_are_not_released_over(works: Works) -> None:
    part = read_part(works.part_file("TS-135"))
    limits = read_limits(works.limits_file("TS-135"), part)
    with closing(works.open()) as store:
        first = release_limits(store, works, limits, part, Acted("R. Hale", "login", "as drawn"), [])
        later = replace(limits, revision=limits.revision + 1)
        newest = release_limits(store, works, later, part, Acted("R. Hale", "login", "a complaint"), [first.id])
        again = replace(limits, revision=limits.revision + 2)
        with pytest.raises(Unusable, match=f"since then R. Hale put revision {later.revision} into force: a complaint"):
            release_limits(store, works, again, part, Acted("R. Hale", "login", "steadier"), [first.id])
        assert [one.id for one in revisions(store, "TS-135") if one.in_force] == [newest.id]
        assert read_limits(works.limits_file("TS-135"), part).revision == later.revision

"""A works folder: made whole, read strictly."""

from pathlib import Path

import pytest

from app.works.folder import FOLDERS, Person, new_works, read_works
from vision.errors import Unusable


def test_a_new_works_holds_everything(tmp_path: Path) -> None:
    people = (
        Person("R. Hale", ("review", "release"), "hale@aldermoor.example"),
        Person("M. Okafor", ("review",), None),
    )
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works", people)
    assert works == read_works(tmp_path / "works")
    assert (works.name, works.people) == ("Aldermoor Flatware Works", people)
    assert {path.name for path in works.folder.iterdir()} >= {*FOLDERS, "store.sqlite", "works.toml"}
    works.open().close()


def test_a_works_without_people_says_how_to_add_them(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", 'The "Old" Works')
    assert (works.name, works.people) == ('The "Old" Works', ())
    assert "# [[person]]" in (tmp_path / "works" / "works.toml").read_text()


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(Unusable, match="new or empty folder"):
        new_works(tmp_path, "x")
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


@pytest.mark.parametrize("name", ["../../etc", "a/b", "/etc", "", "."])
def test_a_name_can_not_lead_out_of_the_folder(tmp_path: Path, name: str) -> None:
    works = new_works(tmp_path / "works", "x")
    with pytest.raises(Unusable, match="plain name"):
        works.part_file(name)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('format = 2\nname = "x"', "format"),
        ("format = 1", "name"),
        ('format = 1\nname = "x"\nstor = "y"', "stor"),
        ('format = 1\nname = "x"\n[[person]]\nname = "A"\nroles = ["king"]', "roles"),
        ('format = 1\nname = "x"\n[[person]]\nname = "A"\nroles = []', "roles"),
        ('format = 1\nname = "x"' + '\n[[person]]\nname = "A"\nroles = ["read"]' * 2, "expected each person once"),
    ],
)
def test_a_wrong_works_file_is_refused_by_key(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "works.toml").write_text(text)
    with pytest.raises(Unusable, match=said) as caught:
        read_works(tmp_path)
    assert "works.toml" in str(caught.value)


def test_a_folder_that_is_no_works(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="brightbowl new WORKS"):
        read_works(tmp_path)

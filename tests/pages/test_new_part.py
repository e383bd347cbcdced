"""The page that makes a part from a drawing, run without a browser: what it asks, shows, writes and refuses."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from app.pages import server_state
from app.pages.new_part import NAME_MAX, plain_name
from app.pages.server_state import ServerState, set_server
from app.works.folder import Person, Works, new_works
from tests.drafting.drawings import DRAWINGS, new, tapered
from vision.formats.part import read_part

Page = Callable[[str], AppTest]


@pytest.fixture
def works(tmp_path: Path) -> Works:
    """A works where R. Hale may add parts and M. Okafor may not."""
    people = (Person("R. Hale", ("tune",), None), Person("M. Okafor", ("review",), None))
    return new_works(tmp_path / "works", "Aldermoor Flatware Works", people)


@pytest.fixture
def page(works: Works, monkeypatch: pytest.MonkeyPatch) -> Iterator[Page]:
    """The page as somebody sees it."""
    monkeypatch.setattr(server_state, "_servers", [])
    with_store = works.open()
    set_server(ServerState(with_store, works))

    def of(who: str) -> AppTest:
        def script() -> None:
            from app.pages.new_part import new_part_page

            new_part_page()

        test = AppTest.from_function(script, default_timeout=30)
        test.query_params["who"] = who
        return test.run()

    yield of
    with_store.close()


def send(page: AppTest, drawing: Path) -> AppTest:
    """Send a drawing by the page's own field."""
    kind = {".svg": "image/svg+xml"}.get(drawing.suffix, "application/octet-stream")
    return page.file_uploader[0].set_value((drawing.name, drawing.read_bytes(), kind)).run()


def field(page: AppTest, kind: str, label: str) -> Any:
    """A field by what it is called."""
    return next(one for one in page.get(kind) if one.label == label)


def said(page: AppTest) -> str:
    """All words on the page, and all that its pictures hold."""
    assert not page.exception
    return " ".join(
        str(one.value) for kind in ("warning", "error", "text", "info", "success") for one in page.get(kind)
    )


def test_a_drawing_becomes_a_part_of_the_works(page: Page, works: Works, tmp_path: Path) -> None:
    drawing = new("R2010", 4)
    tapered(drawing)
    drawing.saveas(tmp_path / "TS-9.dxf")
    seen = send(page("R. Hale"), tmp_path / "TS-9.dxf")
    assert said(seen) == ""
    assert not (works.folder / "parts" / "TS-9").exists()
    assert sum("<img" in one.proto.body for one in seen.get("html")) == 2  # what was found, what is proposed
    field(seen, "button", "Write the part into the works").click()
    assert "Written: parts/TS-9/part.toml" in said(seen.run())
    part = read_part(works.part_file("TS-9"))
    assert [zone.datum for zone in part.zones].count(True) == 1
    assert (works.folder / "parts" / "TS-9" / "part-sheet.svg").exists()
    field(seen, "button", "Write the part into the works").click()
    assert "nothing is overwritten" in said(seen.run())


def test_what_only_a_person_can_say_is_asked_by_the_names_of_its_fields(
    page: Page, works: Works, tmp_path: Path
) -> None:
    DRAWINGS["ellipses and a hole"](tmp_path / "TS-8.dxf")
    seen = send(page("R. Hale"), tmp_path / "TS-8.dxf")
    assert "**Holes**" in said(seen)
    assert "--" not in said(seen)
    field(seen, "radio", "Holes").set_value("all")
    assert said(seen.run()) == ""
    field(seen, "button", "Write the part into the works").click()
    seen.run()
    assert len(read_part(works.part_file("TS-8")).holes) == 1
    DRAWINGS["inches called millimetres"](tmp_path / "TS-7.dxf")
    seen = send(seen, tmp_path / "TS-7.dxf")
    assert "**Unit**" in said(seen)
    assert [one.label for one in seen.button] == []  # nothing to write yet


def test_nobody_without_the_role_may_send_or_write(page: Page) -> None:
    seen = page("M. Okafor")
    assert "has not the role tune" in said(seen)
    assert len(seen.file_uploader) == len(seen.selectbox) - 1 == 0  # the field of names alone


def test_what_is_no_drawing_is_told_without_a_path_of_the_server(page: Page, tmp_path: Path) -> None:
    sent = tmp_path / "no drawing.dxf"
    sent.write_bytes(b"\x00\xff" * 500)
    seen = send(page("R. Hale"), sent)
    assert "no-drawing.dxf: " in said(seen)
    assert "/" not in said(seen)


def test_a_drawing_that_lies_in_the_works_can_be_taken(page: Page, works: Works) -> None:
    (works.folder / "parts" / "TS-6").mkdir()
    DRAWINGS["ellipses and a hole"](works.folder / "parts" / "TS-6" / "TS-6.dxf")
    seen = page("R. Hale")
    field(seen, "selectbox", "or take one that lies in the works' parts folder").set_value("TS-6/TS-6.dxf")
    assert "**Holes**" in said(seen.run())


@pytest.mark.parametrize(
    ("sent", "plain"),
    [
        ("../../etc/passwd.dxf", "passwd.dxf"),
        ("..", "drawing"),
        ("a\nb<c>.svg", "a-b-c-.svg"),
        ("x" * 400 + ".dxf", None),
    ],
)
def test_a_sent_name_is_made_plain(sent: str, plain: str | None) -> None:
    made = plain_name(sent)
    assert made == (plain or f"{'x' * (NAME_MAX - 4)}.dxf")

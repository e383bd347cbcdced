"""Pages that stand alone, and the files beside a result."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import cv2
import pytest

from app.report.cautions import CAUTIONS
from app.report.pictures import write_index, write_pictures
from app.report.result_report import measure_rows
from app.report.stamp import Stamp
from tests.report import made
from vision.decide.verdicts import judge
from vision.errors import Unusable
from vision.records.inputs import Limits
from vision.records.measured import MeasuredPiece, Pit, UncertaintyComponents

HOSTILE = '<script>alert("x")</script>&"\''


class Page(HTMLParser):
    """What a page is made of: its words, links, pictures, ids and whether anything runs."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.ids: list[str] = []
        self.tags: set[str] = set()
        self.feed(source)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            if tag == "a" and name == "href":
                self.links.append(value or "")
            elif name in ("src", "href"):
                self.sources.append(value or "")
            elif name == "id":
                self.ids.append(value or "")

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.fixture
def written(tmp_path: Path) -> Path:
    write_pictures(tmp_path, made.tray())
    return tmp_path


def test_flagged_pieces_and_the_tray_get_their_files(written: Path) -> None:
    names = sorted(path.name for path in written.iterdir())
    sheets = ["piece-02.jpg", "piece-02.svg", "piece-03.jpg", "piece-03.svg"]
    assert names == [*sheets, "result.html", "tray.jpg"]
    assert cv2.imread(str(written / "tray.jpg")) is not None
    for number in (2, 3):
        root = ElementTree.fromstring((written / f"piece-{number:02d}.svg").read_text())
        images = list(root.iter("{http://www.w3.org/2000/svg}image"))
        assert [image.get("href", "")[:23] for image in images] == ["data:image/jpeg;base64,"]


def test_a_sheet_says_why_in_words_and_has_a_scale_bar(written: Path) -> None:
    root = ElementTree.fromstring((written / "piece-02.svg").read_text())
    words = [one.text or "" for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "reject" in words
    assert "10 mm" in words
    assert any(line.startswith("outward deviation, handle: 0.400 mm; limit at most 0.150 mm") for line in words)
    assert any("drawn 10 times larger" in line for line in words)
    assert "A  burr +0.40 mm" in words


def test_a_result_page_stands_alone_and_carries_the_cautions(written: Path) -> None:
    page = Page((written / "result.html").read_text())
    assert all(source.startswith("data:") for source in page.sources)
    assert set(page.links) == {"#piece-2", "#piece-3"}
    assert {link[1:] for link in page.links} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert not page.tags & {"script", "iframe", "link", "object"}
    for caution in CAUTIONS:
        assert caution in page.text
    for told in ("1 pass", "1 review", "1 reject", "every limit is kept", "foreign: something that is no piece"):
        assert told in page.text


def test_names_from_files_are_text_whatever_they_hold(tmp_path: Path) -> None:
    hostile = made.named(made.tray(), tray=HOSTILE, lot=HOSTILE, station=HOSTILE)
    hostile = replace(hostile, part=replace(hostile.part, traced_from=HOSTILE))
    stamp = Stamp("7:" + 64 * "a", HOSTILE)
    write_pictures(tmp_path, hostile, stamp)
    assert f"traced from a photograph, not drawn: {HOSTILE}" in Page((tmp_path / "result.html").read_text()).text
    write_index(tmp_path, [hostile.result], stamp)
    for name in ("result.html", "index.html"):
        source = (tmp_path / name).read_text()
        assert "<script" not in source
        assert HOSTILE in Page(source).text
        assert f"has the head {stamp.head} , signed by the works {HOSTILE}" in Page(source).text
    assert HOSTILE in "".join(ElementTree.parse(tmp_path / "piece-02.svg").getroot().itertext())


def test_an_index_groups_trays_by_lot_and_links_their_pages(tmp_path: Path) -> None:
    one = made.tray()
    results = [made.named(one, tray=tray, lot=lot).result for tray, lot in (("T 2", "B"), ("T-1", "B"), ("T-9", "A"))]
    write_index(tmp_path, results)
    page = Page((tmp_path / "index.html").read_text())
    assert page.links == ["T-9/result.html", "T%202/result.html", "T-1/result.html"]
    assert "3 trays judged" in page.text
    assert [int(n) for n in re.findall(r"(\d+) (?:pass|review|reject)", page.text)][:3] == [3, 3, 3]


def test_the_same_tray_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_pictures(tmp_path / name, made.tray())
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


def test_a_folder_that_is_gone_is_said_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match=r"gone.*can't be written"):
        write_pictures(tmp_path / "gone", made.tray())


def test_a_result_page_has_the_budget_of_every_measure(tmp_path: Path) -> None:
    one = made.tray()
    uncertainty_components = {
        "outline_out_mm": {"handle": UncertaintyComponents(station=0.003, pose=0.001, edge=0.002)},
        "length_mm": {"": UncertaintyComponents(0.004, 0.003)},
    }
    pieces = tuple(replace(piece, uncertainty_components=uncertainty_components) for piece in one.measured.pieces)
    write_pictures(tmp_path, replace(one, measured=replace(one.measured, pieces=pieces)))
    source = (tmp_path / "result.html").read_text()
    assert source.count("Uncertainty budget of piece") == 3
    cells = [re.sub(r"<[^>]+>", " ", row).split() for row in re.findall(r"<tr><td>length</td>.*?</tr>", source)]
    # 4 and 3 micrometres make 5, expanded by 1.96 (JCGM 100:2008, 5.1.2 and table G.2).
    assert cells[1][-3:] == ["0.0050", "0.0098", "mm"]


def test_marks_of_a_face_stand_among_the_measures_in_another_notation() -> None:
    limits = Limits("TS-135", 1, "draft", 0.95, ())
    measures = {"scored_area_cm2": 8.0}
    face = MeasuredPiece(1, None, None, measures, measures, (Pit((0.0, 0.0), (0.0, 0.0), 0.1, 20.0),))
    rows = {row.title: row.value for row in measure_rows(judge(face, limits))}
    assert rows["marks as ISO 10110-7 writes them"] == "5/1 × 0.100"
    assert rows["total area of marks"] == "0.008 mm²"
    outline = MeasuredPiece(1, None, None, {}, {})
    assert "total area of marks" not in {row.title for row in measure_rows(judge(outline, limits))}

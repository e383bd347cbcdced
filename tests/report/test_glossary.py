"""The words that pages, reports and docs share are those that are used."""

from pathlib import Path

import pytest

from app.pages.viewer_component import _GLOSSARY
from app.report.glossary import GLOSSARY

ROOT = Path(__file__).parents[2]


def test_the_page_shows_every_word_with_its_meaning() -> None:
    for word, meaning in GLOSSARY:
        assert word in _GLOSSARY
        assert meaning in _GLOSSARY


@pytest.mark.parametrize("word", ["snr", "(major)", "min to go"])
def test_an_inspector_meets_no_jargon(word: str) -> None:
    page = (ROOT / "app/pages/viewer/viewer.html").read_text(encoding="utf-8")
    assert word not in page
    assert word not in " ".join(f"{one} {meaning}" for one, meaning in GLOSSARY)


@pytest.mark.parametrize("word", ["times stronger than the finish around it", "chance that it is kept", "sure to"])
def test_words_of_reasons_and_findings_are_told(word: str) -> None:
    assert word in dict(GLOSSARY)
    assert any(
        word in (ROOT / "app/report" / file).read_text(encoding="utf-8") for file in ("words.py", "finding_words.py")
    )

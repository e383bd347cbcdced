"""Teaching a works' own judge: a draft where labels help, a refusal that says why where they are few or do harm."""

import numpy as np
import pytest

from app.run.teaching import LEAST_LABELS, LabelledMark, Teaching, teach
from vision.face import LINE_FEATURES, SPOTS
from vision.formats import shipped_judge, shipped_suites
from vision.records import JudgeSuite

BESIDE = next(k for k, one in enumerate(LINE_FEATURES) if one.name == "beside")
OWN = {one.model: one for one in shipped_suites() if one.name.startswith("own")}


def labels_of(suite: JudgeSuite, count: int, say: object = None, seed: int = 1) -> list[LabelledMark]:
    """Labels of candidates of a suite, as many of marks as of none where there are, three a piece, day by day."""
    rng = np.random.default_rng(seed)
    marks, none = (rng.permutation(np.flatnonzero(suite.real == kind)) for kind in (True, False))
    # of what is none people see what the judge thinks likely: those that look most like marks
    none = none[np.argsort(-suite.features[none, 0], kind="stable")]
    chosen = rng.permutation([*marks[: count // 2], *none[: count - count // 2]])
    words = {"right": lambda real: real, "turned": lambda real: not real, "blind": lambda _: bool(rng.random() < 0.5)}
    said = words[str(say or "right")]
    return [
        LabelledMark(
            tray=f"T-{n // 9:03d}",
            piece=n // 3 % 3 + 1,
            taken_at=f"2026-11-{1 + n // 9:02d}T06:00:00Z",
            kind="scratch" if suite.model == "lines" else "pit",
            real=said(bool(suite.real[k])),
            inspector="R. Hale",
            probability=0.5,
            share=1.0,
            model=suite.model,
            features=suite.features[k],
        )
        for n, k in enumerate(chosen.tolist())
    ]


def taught_by(marks: list[LabelledMark]) -> Teaching:
    return teach(shipped_judge(), marks, shipped_suites())


def test_few_labels_teach_nothing() -> None:
    found = taught_by(labels_of(OWN["lines"], LEAST_LABELS - 1))
    assert (found.draft, found.labels) == (None, LEAST_LABELS - 1)
    assert f"{LEAST_LABELS} labels are needed, 20 of marks and of none at least" in found.refused


def test_labels_of_one_word_teach_nothing() -> None:
    marks = labels_of(OWN["lines"], 150)
    found = taught_by([one for one in marks if one.real] * 2)
    assert found.draft is None
    assert "there are 150 of marks and 0 of none" in found.refused


@pytest.mark.parametrize("say", ["turned", "blind"])
@pytest.mark.parametrize("model", ["lines", "spots"])
def test_labels_that_do_harm_are_refused_and_the_harm_is_named(model: str, say: str) -> None:
    found = taught_by(labels_of(OWN[model], 160, say))
    assert found.draft is None
    assert found.refused


def test_turned_labels_are_refused_for_what_the_suites_would_lose() -> None:
    found = taught_by([*labels_of(OWN["lines"], 160, "turned"), *labels_of(OWN["spots"], 160, "turned")])
    assert "fewer marks would be found" in found.refused
    assert "own, 9000 to 9089" in found.refused


def test_a_works_whose_polish_deceives_is_taught_and_loses_no_more_than_is_told() -> None:
    """Lines of the finish of this works stand out as scratches do, but the finish beside them is as uneven."""
    rng = np.random.default_rng(3)
    marks = labels_of(OWN["lines"], 160, seed=3)
    strange = OWN["lines"].features[OWN["lines"].real][rng.integers(0, OWN["lines"].real.sum(), 80)].copy()
    strange[:, BESIDE] = rng.uniform(2.5, 4.0, 80)
    deceiving = [
        LabelledMark(
            f"S-{n // 9:03d}",
            n // 3 % 3 + 1,
            f"2026-11-{1 + n // 5:02d}T07:00:00Z",
            "scratch",
            False,
            "M. Okafor",
            0.8,
            1.0,
            "lines",
            features,
        )
        for n, features in enumerate(strange)
    ]
    found = taught_by([*marks, *deceiving])
    assert found.draft is not None, found.refused
    held = found.compared[0]
    assert held.what == "scratches, labels held back"
    before, after = (one.value for one in held.false)
    assert before is not None
    assert after is not None
    assert after < before
    assert len(found.lost) <= 0.1 * sum(one.real for one in marks)
    assert len(found.gone) > len(found.lost)
    assert found.draft.spots == shipped_judge().spots


def test_the_newest_third_of_the_pieces_is_held_back() -> None:
    found = taught_by(labels_of(OWN["lines"], 180))
    held = found.compared[0]
    assert held.marks + held.none == pytest.approx(60, abs=3)


def test_suites_hold_what_the_judge_reads() -> None:
    names = {one.model: LINE_FEATURES if one.model == "lines" else SPOTS for one in shipped_suites()}
    assert {one.name for one in shipped_suites()} == {"path-traced, seed 101", "own, 9000 to 9089"}
    for one in shipped_suites():
        assert one.features.shape == (len(one.real), len(names[one.model]))
        assert np.isfinite(one.features).all()
        assert 0 < one.real.sum() < len(one.real)

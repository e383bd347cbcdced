"""The agreement study: who is compared with whom on which pieces, and what its edges do."""

from dataclasses import dataclass
from typing import Literal

import pytest

from app.studies.agreement import MAJORITY, disputes, study_agreement
from app.studies.camera_and_people import Answers, PieceKey, answers
from app.studies.fitness_words import Thresholds, fitness
from vision.records.judged import Verdict


@dataclass(frozen=True)
class VerdictWord:
    """One person's verdict."""

    tray: str
    piece: int
    inspector: str
    round: int
    verdict: Literal["accept", "reject"]
    defects: tuple[str, ...] = ()


def _said(camera: str, people: dict[str, str]) -> Answers:
    """Pieces 1, 2, ... of one tray: the camera's verdicts and each person's as letters (p v r; a r, . for none).

    A name with `#2` is that person's second round.
    """
    words: dict[str, Verdict] = {"p": "pass", "v": "review", "r": "reject"}
    judged = {PieceKey("T-1", i + 1): words[letter] for i, letter in enumerate(camera)}
    given = []
    for name, letters in people.items():
        who, _, turn = name.partition("#")
        for i, letter in enumerate(letters):
            if letter != ".":
                given.append(VerdictWord("T-1", i + 1, who, int(turn or 1), "accept" if letter == "a" else "reject"))
    return answers(judged, given)


def test_a_table_by_hand() -> None:
    # camera p p v r r p against a person a r a r a a: review counts as not passed
    study = study_agreement(_said("ppvrrp", {"Ada": "araraa"}))
    pair = study.camera_vs["Ada"]
    assert pair.table == ((2, 1), (2, 1))
    assert pair.review == 1
    assert pair.agreement.value == 0.5
    assert pair.missed.value == 0.5
    assert pair.false_alarm.value == 0.5
    assert study.camera_vs[MAJORITY].table == pair.table
    assert study.pieces == 6


def test_ties_are_left_out_of_the_majority_and_named() -> None:
    study = study_agreement(_said("ppr", {"Ada": "aar", "Ben": "arr"}))
    assert study.camera_vs[MAJORITY].table == ((1, 0), (0, 1))
    assert [(one.tray, one.piece, one.reason) for one in study.left_out] == [("T-1", 2, "tie between the inspectors")]
    assert study.camera_vs["Ben"].table == ((1, 1), (0, 1))


def test_pieces_judged_by_some_only() -> None:
    study = study_agreement(_said("pprr", {"Ada": "aa..", "Ben": ".arr"}))
    assert study.between[("Ada", "Ben")].table == ((1, 0), (0, 0))
    assert study.camera_vs["Ada"].table == ((2, 0), (0, 0))
    assert study.pieces == 4
    assert study.without_verdict == 0


def test_rounds_are_held_against_the_first() -> None:
    study = study_agreement(_said("pprr", {"Ada": "aarr", "Ada#2": "arrr", "Ada#3": "aarr", "Ben": "aarr"}))
    assert study.within["Ada"].table == ((1, 1), (0, 2))
    assert "Ben" not in study.within
    assert study.camera_vs["Ada"].table == ((2, 0), (0, 2))
    assert list(study.within_rounds) == ["Ada"]


def test_one_inspector_alone() -> None:
    study = study_agreement(_said("pprr", {"Ada": "aarr"}))
    assert study.between == {}
    assert study.within == {}
    assert study.fleiss_kappa.value is None
    assert study.camera_minus_person == {}


def test_one_class_only_leaves_kappa_undefined_but_not_the_rest() -> None:
    pair = study_agreement(_said("ppp", {"Ada": "aaa"})).camera_vs["Ada"]
    assert pair.kappa.value is None
    assert pair.missed.value is None
    assert pair.false_alarm.value == 0.0
    assert pair.agreement.value == 1.0
    assert pair.mcnemar_p == 1.0


def test_no_agreement_at_all() -> None:
    pair = study_agreement(_said("pprr", {"Ada": "rraa"})).camera_vs["Ada"]
    assert pair.kappa.value == pytest.approx(-1.0)
    assert (pair.missed.value, pair.false_alarm.value) == (1.0, 1.0)


def test_unknown_pieces_are_named_and_unjudged_ones_counted() -> None:
    judged: dict[PieceKey, Verdict] = {PieceKey("T-1", 1): "pass", PieceKey("T-1", 2): "reject"}
    said = answers(judged, [VerdictWord("T-1", 1, "Ada", 1, "accept"), VerdictWord("T-9", 4, "Ada", 1, "reject")])
    assert [(one.tray, one.piece) for one in said.unknown] == [("T-9", 4)]
    assert said.without_verdict == 1
    study = study_agreement(said)
    assert study.pieces == 1
    assert study.left_out == said.unknown


def test_no_verdict_fits_any_piece() -> None:
    study = study_agreement(answers({PieceKey("T-1", 1): "pass"}, [VerdictWord("T-2", 1, "Ada", 1, "accept")]))
    assert study.pieces == 0
    assert study.camera_vs == {}
    assert study.fleiss_kappa.value is None


def test_camera_minus_person_takes_the_others_as_reference() -> None:
    # The others (Ben, Cleo) reject pieces 1 to 4 and accept 5 to 8; Ada misses 2, the camera 1.
    study = study_agreement(
        _said("prrrpppr", {"Ada": "aarraaaa", "Ben": "rrrraaaa", "Cleo": "rrrraaaa"}),
    )
    one = study.camera_minus_person["Ada"]
    assert (one.rejected, one.accepted) == (4, 4)
    assert one.missed.value == pytest.approx(0.25 - 0.5)
    assert one.false_alarm.value == pytest.approx(0.25)


def test_by_kind_counts_pieces_that_most_reject() -> None:
    judged: dict[PieceKey, Verdict] = {PieceKey("T-1", i): ("pass" if i < 3 else "reject") for i in range(1, 5)}
    said = []
    for name in ("Ada", "Ben", "Cleo"):
        said += [
            VerdictWord("T-1", 1, name, 1, "reject", ("burr",) if name == "Ada" else ()),
            VerdictWord("T-1", 2, name, 1, "reject" if name == "Ada" else "accept", ("burr",) if name == "Ada" else ()),
            VerdictWord("T-1", 3, name, 1, "reject", ("pit", "burr")),
            VerdictWord("T-1", 4, name, 1, "reject", ("pit",)),
        ]
    study = study_agreement(answers(judged, said))
    assert study.by_kind["burr"].pieces == 2
    assert study.by_kind["burr"].missed.value == 0.5
    assert study.by_kind["pit"].missed.value == 0.0
    assert study.by_kind["pit"].fleiss_kappa.value == 1.0


def test_disputes_stand_missed_first() -> None:
    found = disputes(_said("rppp", {"Ada": "arra", "Ben": "arar", "Cleo": "araa"}))
    assert [(one.key.piece, one.why) for one in found] == [
        (2, "missed"),
        (1, "false alarm"),
        (3, "people differ"),
        (4, "people differ"),
    ]
    assert found[2].said["Ada"] == ("reject", ())


def test_three_pieces_in_perfect_agreement_show_nothing() -> None:
    pair = study_agreement(_said("ppr", {"Ada": "aar"})).camera_vs["Ada"]
    judged = fitness(pair, Thresholds())
    assert judged.outcome == "not shown"
    assert "too small" in judged.words


def test_fitness_follows_its_thresholds() -> None:
    # 300 rejected, 700 accepted, all agreed: missed at most 1.3 %, false alarms at most 0.6 %
    pair = study_agreement(_said("r" * 300 + "p" * 700, {"Ada": "r" * 300 + "a" * 700})).camera_vs["Ada"]
    assert fitness(pair, Thresholds()).outcome == "fit"
    assert fitness(pair, Thresholds(max_missed=0.01)).outcome == "not shown"
    bad = study_agreement(_said("r" * 200 + "p" * 800, {"Ada": "r" * 300 + "a" * 700})).camera_vs["Ada"]
    judged = fitness(bad, Thresholds())
    assert judged.outcome == "not fit"
    assert [one.outcome for one in judged.findings] == ["not fit", "fit", "not shown"]

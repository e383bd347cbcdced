"""What people say of single findings: filed once, a person's newest counts, and each says why it was shown."""

from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import func, select, text

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.evidence.verify import verify
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.labels import FindingLabel, LabelWord, NewLabel, give_label, label_count, labels, labels_given
from app.store.people.looks import looks_of_round, second_looks
from app.store.people.questions import drawn_again, questions, share_shown
from app.store.people.verdicts import NewVerdict, Receipt, give
from app.store.results.exports import export_labels
from app.store.results.filing import PictureFile, ToFile, file_result
from app.store.results.shown import newest_judgement
from tests.store.made import LIMITS, PART, STATION, made_piece, made_tray
from vision.errors import Unusable
from vision.records.judged import JudgedPiece
from vision.records.measured import EdgeFinding, Pit, Scratch, Speck

SURE, OLD, SPECK, UNLIKELY = 1, 2, 3, 4  # places among the findings
FRAMES = tuple(PictureFile(f"shots/T-000123/{name}.png", "frame", name) for name in ("back", "dome"))


def piece_to_label(unlikely: int = 30) -> JudgedPiece:
    """A piece with an outline's finding, one mark of each sort, and candidates that are likely none."""
    scratch = Scratch(
        ((700, 350), (720, 360), (742, 371)), ((16.0, 3.1), (17.0, 2.6), (18.3, 2.0)), 2.05, 0.11, 9.3, 0.97
    )
    findings = (
        EdgeFinding("burr", "bowl", (612.0, 300.0), (12.1, 13.0), 0.31, 0.31, 1.9),
        scratch,
        Pit((655.0, 402.5), (14.0, -1.2), 0.32, 12.0),  # judged before chances were told
        Speck((660.0, 402.5), (14.2, -1.2), 0.1, 12.0, 0.01),
        *(Pit((500.0 + k, 400.0), (10.0 + k, 0.5), 0.2, 5.0, 0.05) for k in range(unlikely)),
    )
    return JudgedPiece(3, "pass", (), None, made_piece(3).pose, {}, {}, findings, (False,) * len(findings))


@pytest.fixture
def filed(store: Store) -> Store:
    """A store with one tray of one piece."""
    file_result(store, ToFile(made_tray(pieces=[piece_to_label()]), FRAMES, PART, STATION, LIMITS))
    return store


def said(
    store: Store,
    uid: str,
    label: LabelWord = "mark",
    finding: int = SURE,
    inspector: str = "R. Hale",
    blind_id: int | None = None,
) -> Receipt:
    """Say something of a finding of the made tray's piece."""
    judgement = newest_judgement(store, "T-000123", 3)
    assert judgement is not None
    return give_label(store, NewLabel(uid, judgement, finding, label, inspector, "declared", now(), blind_id))


def counting(store: Store) -> list[tuple[str, int, str]]:
    return [(one.inspector, one.finding, one.label) for one in labels(store)]


def rows(store: Store) -> int:
    with store.read() as connection:
        return int(connection.execute(select(func.count()).select_from(schema.finding_label)).scalar_one())


def test_a_label_tells_all_that_is_needed_to_find_it_again(filed: Store) -> None:
    assert said(filed, "a") == Receipt("a", "stored")
    assert labels(filed) == (
        FindingLabel(
            tray="T-000123",
            piece=3,
            part="TS-135",
            station="ST-1",
            lot="L-2611-07",
            taken_at="2026-11-02T06:00:00+00:00",
            judgement_id=1,
            kind="scratch",
            x_mm=17.0,
            y_mm=2.6,
            probability=0.97,
            label="mark",
            inspector="R. Hale",
            share=1.0,
            shown_because="sure",
            folder="shots/T-000123",
            finding=SURE,
        ),
    )


def test_a_shot_without_frames_has_no_folder(store: Store) -> None:
    file_result(store, ToFile(made_tray(pieces=[piece_to_label()]), (), PART, STATION, LIMITS))
    said(store, "a")
    assert [one.folder for one in labels(store)] == [None]


def test_sent_twice_is_filed_once(filed: Store) -> None:
    said(filed, "a")
    assert said(filed, "a") == Receipt("a", "known")
    assert rows(filed) == 1


def test_the_newest_of_each_person_counts_and_all_stay(filed: Store) -> None:
    said(filed, "a", "mark")
    assert said(filed, "b", "none").outcome == "corrected"
    said(filed, "c", "mark", inspector="M. Okafor")
    said(filed, "d", "none", finding=SPECK)
    assert counting(filed) == [("R. Hale", SURE, "none"), ("M. Okafor", SURE, "mark"), ("R. Hale", SPECK, "none")]
    assert (rows(filed), label_count(filed, "R. Hale"), label_count(filed, "M. Okafor")) == (4, 2, 1)
    assert labels_given(filed, "R. Hale", [1, 99]) == {1: {SURE: "none", SPECK: "none"}}


def test_what_is_taken_back_counts_no_more_and_may_be_said_anew(filed: Store) -> None:
    said(filed, "a", "mark")
    assert said(filed, "b", "withdrawn").outcome == "stored"
    assert (counting(filed), label_count(filed, "R. Hale"), labels_given(filed, "R. Hale", [1])) == ([], 0, {})
    assert "taken back" in said(filed, "c", "withdrawn").detail
    assert said(filed, "d", "none").outcome == "stored"
    assert counting(filed) == [("R. Hale", SURE, "none")]


def test_labels_of_a_part_or_a_station(filed: Store) -> None:
    said(filed, "a")
    assert len(labels(filed, part="TS-135", station="ST-1", lot="L-2611-07")) == 1
    assert labels(filed, part="DS-182") == labels(filed, station="ST-2") == labels(filed, lot="L-1") == ()


def test_labels_go_out_as_a_table(filed: Store, tmp_path: Path) -> None:
    said(filed, "a", inspector="=R. Hale")
    assert export_labels(labels(filed), tmp_path / "labels.csv") == 1
    assert (tmp_path / "labels.csv").read_text().splitlines() == [
        "tray,piece,part,station,lot,taken_at,kind,x_mm,y_mm,probability,label,inspector,shown_because,share",
        "T-000123,3,TS-135,ST-1,L-2611-07,2026-11-02T06:00:00+00:00,scratch,17.0,2.6,0.97,mark,'=R. Hale,sure,1.0",
    ]


def test_what_can_not_be_labelled_is_refused_in_one_line(filed: Store) -> None:
    shown = {one.finding for one in questions(1, piece_to_label())}
    hidden = next(k for k in range(UNLIKELY, UNLIKELY + 30) if k not in shown)
    refused = {
        "no such": said(filed, "a", finding=99),
        "no such scratch": said(filed, "b", finding=0),
        "before chances were told": said(filed, "c", finding=OLD),
        "not one to be shown": said(filed, "d", finding=hidden),
        "not of that blind round": said(filed, "e", blind_id=7),
        "not in the store": give_label(filed, NewLabel("f", 99, 0, "mark", "R. Hale", "declared", now())),
    }
    for words, receipt in refused.items():
        assert (receipt.outcome, words in receipt.detail) == ("refused", True), receipt
    assert rows(filed) == 0


def test_a_label_of_a_blind_round_says_so(filed: Store) -> None:
    blind = make_blind(filed, "first", 1, 1, draw_pieces(filed, Draw(None, 1, 1)), "R. Hale")
    said(filed, "a", blind_id=blind.id)
    assert [(one.shown_because, one.share) for one in labels(filed)] == [("blind", 1.0)]


def again(store: Store, uid: str, inspector: str, judgement: int = 1, finding: int = SURE) -> Receipt:
    """Say of a finding that was shown a second time that it is none."""
    return give_label(store, NewLabel(uid, judgement, finding, "none", inspector, "declared", now(), again=True))


def test_what_was_said_of_a_tenth_of_the_pieces_is_asked_a_second_time(store: Store) -> None:
    shown = [k for k in range(1, 60) if drawn_again(k)]
    assert 2 <= len(shown) <= 12  # 59 pieces, each with a chance of a tenth; the draw is fixed
    first = shown[0]
    for number in range(1, first + 1):
        tray = made_tray(f"T-{number:06d}", [piece_to_label()])
        file_result(store, ToFile(tray, FRAMES, PART, STATION, LIMITS))
    assert second_looks(store, "M. Okafor") == {}
    for judgement in (first, first - 1):
        for finding in (SURE, SPECK):
            uid = f"{judgement} {finding}"
            give_label(store, NewLabel(uid, judgement, finding, "mark", "R. Hale", "declared", now()))
    assert second_looks(store, "M. Okafor").keys() == {first}
    assert sorted(second_looks(store, "M. Okafor")[first]) == [SURE, SPECK]
    assert second_looks(store, "R. Hale") == {}  # who has just said it is not asked at once
    assert "second time" in again(store, "a", "M. Okafor", first - 1).detail
    assert "second time" in again(store, "b", "M. Okafor", first, questions(first, piece_to_label())[-1].finding).detail
    assert again(store, "c", "M. Okafor", first).outcome == "stored"
    assert second_looks(store, "M. Okafor") == {first: (SPECK,)}
    told = [(one.inspector, one.label, one.shown_because, one.share) for one in labels(store) if one.finding == SURE]
    assert told[-1] == ("M. Okafor", "none", "again", 1.0)


def test_nobody_is_asked_again_on_the_same_day(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    first = next(k for k in range(1, 60) if drawn_again(k))
    for number in range(1, first + 1):
        file_result(store, ToFile(made_tray(f"T-{number:06d}", [piece_to_label()]), FRAMES, PART, STATION, LIMITS))
    give_label(store, NewLabel("a", first, SURE, "mark", "R. Hale", "declared", now()))
    assert second_looks(store, "R. Hale") == {}
    monkeypatch.setattr("app.store.people.looks.AGAIN_AFTER_H", -1.0)  # an hour from now counts as a day on
    assert second_looks(store, "R. Hale") == {first: (SURE,)}


def test_a_blind_round_is_looked_at_once_all_of_it_was_judged(filed: Store) -> None:
    blind = make_blind(filed, "first", 1, 1, draw_pieces(filed, Draw(None, 1, 1)), "R. Hale")
    with pytest.raises(Unusable, match="judge the rest first"):
        looks_of_round(filed, blind, "R. Hale")
    give(filed, NewVerdict("v", 1, 1, "R. Hale", "declared", "accept", (), "", now(), blind_id=blind.id, turn=1))
    asked = {one.finding for one in questions(1, piece_to_label())}
    assert {key: set(findings) for key, findings in looks_of_round(filed, blind, "R. Hale").items()} == {1: asked}
    said(filed, "a", "none", blind_id=blind.id)
    assert set(looks_of_round(filed, blind, "R. Hale")[1]) == asked - {SURE}


@pytest.mark.parametrize("change", ["DELETE FROM finding_label", "UPDATE finding_label SET label = 'none'"])
def test_labels_are_never_changed_and_are_in_the_chain(filed: Store, change: str) -> None:
    said(filed, "a")
    with pytest.raises(Unusable, match="never changed"), filed.write() as connection:
        connection.execute(text(change))
    assert verify(filed, None).broken == ()
    with filed.read() as connection:
        kinds = connection.execute(select(schema.chain_link.c.kind).order_by(schema.chain_link.c.id)).scalars().all()
    assert kinds[-1] == "finding_label"


def test_what_is_asked_is_what_people_are_told_of_and_a_draw_that_stays() -> None:
    judged = piece_to_label()
    for judgement in range(1, 50):
        asked = questions(judgement, judged)
        assert asked == questions(judgement, judged)
        assert [(one.finding, one.because, one.share) for one in asked[:2]] == [
            (SURE, "sure", 1.0),
            (SPECK, "sure", 1.0),
        ]
        assert len(asked) <= 4
        assert all(one.because == "sample" and one.finding >= UNLIKELY for one in asked[2:])


def test_what_is_in_doubt_is_always_asked_and_what_is_likely_none_is_drawn() -> None:
    chances = (0.0199, 0.02, 0.099, 0.1, 0.49, None)
    findings = tuple(Pit((0, 0), (0, 0), 0.2, 5.0, chance) for chance in chances)
    judged = JudgedPiece(1, "pass", (), None, None, {}, {}, findings, (False,) * len(findings))
    asked = [questions(judgement, judged) for judgement in range(400)]
    assert {one.finding for some in asked for one in some} == {1, 2, 3, 4}
    assert all([(one.finding, one.share) for one in some[:2]] == [(3, 1.0), (4, 1.0)] for some in asked)


@pytest.mark.parametrize("count", [1, 4, 30])
def test_the_share_told_is_that_of_those_shown(count: int) -> None:
    judged = piece_to_label(count)
    trials = 4000
    asked = [[one for one in questions(k, judged) if one.because == "sample"] for k in range(trials)]
    assert {one.share for some in asked for one in some} == {share_shown(count)}
    # Of each piece 0 to 2 are shown: the mean's deviation is that of the counts; beyond 4 of them 1 in 16,000.
    counts = np.array([len(some) for some in asked])
    assert abs(counts.mean() - count * share_shown(count)) < 4.0 * counts.std() / np.sqrt(trials)

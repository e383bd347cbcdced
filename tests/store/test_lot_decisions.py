"""Release and hold of lots in the store; the command and its report."""

import json
import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import text

from app.store.database.connection import Store
from app.store.lots.as_it_stands import Wish, decide_as_it_stands
from app.store.lots.decisions import Decision, decisions
from app.store.lots.lot_size import state_size
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import file_result
from app.works.folder import Person, Works, new_works, read_works
from tests.shell import Run
from tests.store.made import decide, made_piece, made_tray, to_file
from vision.errors import Unusable

LOT = "L-2611-07"


def file_trays(store: Store, count: int, first: int = 0) -> None:
    for k in range(first, first + count):
        tray = made_tray(f"T-{k:03}", taken_at=f"2026-11-02T06:{k:02}:00+00:00", die=f"D{k % 2 + 1}")
        file_result(store, to_file(tray))


def decision(word: str, **more: object) -> Decision:
    given = {"uid": word, "lot": LOT, "part": "TS-135", "decision": word, "given_by": "R. Hale"}
    more = {"identity": "declared", "why": "checked", "seen": {"pieces": 6}, **more}
    return Decision(**{**given, **more})  # type: ignore[arg-type]


def sampled_good_lots(store: Store, count: int) -> list[str]:
    """Lots by sample, none with a bad piece, of 1000 pieces each: J, 80 pieces, at most 2 bad at AQL 1.0."""
    names = [f"L-{k:02}" for k in range(count)]
    pieces = [made_piece(k + 1, "pass") for k in range(80)]
    for k, name in enumerate(names):
        file_result(store, to_file(made_tray(f"S-{k:02}", pieces, name, f"2026-10-02T06:{k:02}:00+00:00")))
        state_size(store, name, "TS-135", 1000, "R. Hale")
    return names


def test_decisions_are_kept_once_and_the_newest_counts(store: Store) -> None:
    file_trays(store, 1)
    assert lot_state(store, LOT).standing == "open"
    decide(store, decision("hold"))
    assert decide(store, decision("hold", why="again")).why == "checked"
    judgings = frozenset(lot_state(store, LOT).content.judgings)
    decide(store, decision("release", judgings=judgings))
    assert [one.decision for one in decisions(store, LOT, "TS-135")] == ["hold", "release"]
    newest = decisions(store, LOT, "TS-135")[1]
    assert (newest.seen, newest.judgings) == ({"pieces": 6}, judgings)
    assert lot_state(store, LOT).standing == "released"
    with pytest.raises(Unusable, match="append-only"), store.write() as connection:
        connection.execute(text("UPDATE lot_decision SET why = 'x'"))


@pytest.mark.parametrize(
    ("more", "said"),
    [({"given_by": " "}, "a name and a reason"), ({"lot": "L-0"}, "L-0"), ({"part": "DS-182"}, "DS-182")],
)
def test_a_decision_without_name_or_lot_is_refused(store: Store, more: dict[str, str], said: str) -> None:
    file_trays(store, 1)
    with pytest.raises(Unusable, match=said):
        decide(store, decision("release", **more))
    assert decisions(store, LOT, "TS-135") == ()


HALE = Acted("R. Hale", "declared", "checked")


def test_a_decision_is_taken_on_what_stands_then_and_not_on_what_was_shown(store: Store) -> None:
    file_trays(store, 2)
    shown = lot_state(store, LOT)
    wish = Wish(("release",), HALE, leave_waiting=True)
    waiting = next(one for one in shown.content.pieces if one.verdict == "review")
    given = {"piece_id": waiting.piece_id, "judgement_id": None, "inspector": "M. Okafor", "identity": "declared"}
    give(store, NewVerdict("v" * 16, verdict="accept", defects=(), note="", given_at="", **given))  # type: ignore[arg-type]
    with pytest.raises(Unusable, match="as it was shown") as refused:
        decide_as_it_stands(store, LOT, "TS-135", wish, shown)
    assert refused.value.found == "since then waiting for review 1, was 2; to packing 3, was 2"
    shown = lot_state(store, LOT)
    file_trays(store, 1, first=2)
    file_result(store, to_file(made_tray("T-000", [made_piece(1, "pass")], taken_at="2026-11-02T06:00:00+00:00")))
    with pytest.raises(Unusable, match="trays came: T-002; trays judged anew: T-000"):
        decide_as_it_stands(store, LOT, "TS-135", wish, shown)
    shown = lot_state(store, LOT)
    decide_as_it_stands(store, LOT, "TS-135", replace(wish, words=("hold",)))
    with pytest.raises(Unusable, match=r"R\. Hale decided hold"):
        decide_as_it_stands(store, LOT, "TS-135", wish, shown)
    assert [one.decision for one in decisions(store, LOT, "TS-135")] == ["hold"]
    decide_as_it_stands(store, LOT, "TS-135", wish, lot_state(store, LOT))
    newest = decisions(store, LOT, "TS-135")[-1]
    assert (newest.decision, newest.seen) == ("release", lot_state(store, LOT).seen())


def test_verdicts_that_change_places_are_a_change_though_every_count_is_the_same(store: Store) -> None:
    file_trays(store, 2)
    one, two = (p for p in lot_state(store, LOT).content.pieces if p.verdict == "reject")
    said = {"judgement_id": None, "inspector": "R. Hale", "identity": "declared", "defects": (), "note": ""}
    for number, (piece, word) in enumerate(((one, "accept"), (two, "reject"), (one, "reject"), (two, "accept"))):
        if number == 2:
            shown = lot_state(store, LOT)
        seen = None if number < 2 else f"{number - 2}" * 16
        given = NewVerdict(f"{number}" * 16, piece.piece_id, verdict=word, given_at="", seen=seen, **said)  # type: ignore[arg-type]
        assert give(store, given).outcome != "refused"
    with pytest.raises(Unusable, match="since then verdicts changed"):
        decide_as_it_stands(store, LOT, "TS-135", Wish(("hold",), HALE), shown)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A works with four trays of one lot."""
    people = (Person("R. Hale", ("release",), None),)
    made = new_works(tmp_path_factory.mktemp("filled") / "works", "Aldermoor Flatware Works", people)
    with closing(made.open()) as store:
        file_trays(store, 4)
    return made.folder


@pytest.fixture
def works(filled: Path, tmp_path: Path) -> Works:
    """That works, of this test alone."""
    return read_works(Path(shutil.copytree(filled, tmp_path / "works")))


def test_the_command_reports_the_same_bytes_each_time(works: Works, tmp_path: Path, run: Run) -> None:
    code, said, _ = run("lot", "--works", works.folder)
    assert code == 0
    assert f"{LOT}: TS-135; 4 trays, 12 pieces, review 4, reject 4; open" in said
    for name in ("a", "b"):
        assert run("lot", LOT, "--works", works.folder, "--out", tmp_path / name).code == 0
    assert (tmp_path / "a" / "lot.html").read_bytes() == (tmp_path / "b" / "lot.html").read_bytes()
    page, table = (tmp_path / "a" / "lot.html").read_text(), json.loads((tmp_path / "a" / "lot.json").read_text())
    assert (table["to_packing"], table["fates"]["waiting"], len(table["results"])) == (4, 4, 12)
    assert {one["name"]: one["count"] for one in table["reasons"]} == {
        "outline_out_mm.bowl": 4,
        "scratch_longest_mm": 4,
    }
    assert [(one["name"], one["of"]) for one in table["by"]["die"]] == [("D1", 6), ("D2", 6)]
    # Reasons, by die, over time, risks, and the drawing with the places where marks come back, the same on every piece.
    assert page.count("<svg") == 5
    assert table["risks"][0]["limit"] == "all limits together"
    assert table["limits_revision"] == 3
    assert "a fixture or a mould that all of them pass" in page
    assert "4 of 12 pieces may be packed" in page
    assert "Presses, trimming and buffing machines" in page


def test_release_by_the_command(works: Works, run: Run) -> None:
    told = ("--works", works.folder, "--release", "--by", "R. Hale", "--why", "seen")
    code, _, errors = run("lot", LOT, *told)
    assert code == 2
    assert "4 of its pieces wait for review" in errors
    code, _, errors = run("lot", LOT, "--works", works.folder, "--release", "--leave-waiting")
    assert code == 2
    assert "--by NAME and --why REASON" in errors
    code, said, _ = run("lot", LOT, *told, "--leave-waiting")
    assert code == 0
    assert "release by R. Hale" in said


def test_a_sampled_lot_is_released_only_if_its_sample_says_so(works: Works, run: Run) -> None:
    told = ("--works", works.folder, "--release", "--by", "R. Hale", "--why", "seen", "--leave-waiting")
    code, _, errors = run("lot", LOT, *told, "--size", 3)
    assert code == 2
    assert "12 or more" in errors
    # A lot of 100, letter F: 20 pieces, accept 0 at AQL 0.65; four are bad among the twelve.
    code, _, errors = run("lot", LOT, *told, "--size", 100, "--aql", 0.65)
    assert code == 2
    assert "its sample says: not accepted" in errors
    code, said, _ = run("lot", LOT, "--works", works.folder, "--aql", 0.65)
    assert code == 0
    assert "letter F, the first 20 pieces photographed are the sample" in said


def test_a_lot_that_is_not_there_is_named_in_one_line(works: Works, run: Run) -> None:
    code, _, errors = run("lot", "L-0", "--works", works.folder)
    assert code == 2
    assert errors.count("\n") == 1
    assert f"such as {LOT} (found L-0)" in errors


def test_the_next_inspection_is_chosen_by_command_only_where_the_rules_leave_it(works: Works, run: Run) -> None:
    with closing(works.open()) as store:
        *_, before, newest = sampled_good_lots(store, 11)
    at, who = ("--works", works.folder), ("--by", "R. Hale", "--why", "steady")
    code, _, errors = run("lot", LOT, *at, "--next", "reduced", *who)
    assert code == 2
    assert "--next reduced: a lot by sample; say how large it is: --size PIECES" in errors
    code, _, errors = run("lot", newest, *at, "--next", "reduced")
    assert code == 2
    assert "--next reduced: --by NAME and --why REASON" in errors
    code, _, errors = run("lot", newest, *at, "--next", "tightened", "--release", *who)
    assert code == 2
    assert "leaves reduced to be chosen after this lot (found tightened inspection begins by itself" in errors
    code, _, errors = run("lot", before, *at, "--next", "reduced", *who)
    assert code == 2
    assert f"leaves nothing to be chosen after this lot (found lot {newest} was inspected after it" in errors
    code, said, _ = run("lot", "--works", works.folder)
    assert code == 0
    assert "released" not in said  # a call refused for one of its words files none
    code, said, _ = run("lot", newest, *at, "--next", "reduced", "--release", *who)
    assert code == 0
    assert f"lot {newest}, TS-135: released" in said
    assert "the next lot: reduced inspection; normal may be begun" in said
    assert "next lot reduced by R. Hale" in said
    code, _, errors = run("lot", newest, *at, "--next", "reduced", *who)
    assert code == 2
    assert "leaves normal to be chosen after this lot (found inspection is reduced already)" in errors


def test_the_list_tells_what_came_after_a_release(works: Works, run: Run) -> None:
    told = ("--works", works.folder, "--release", "--leave-waiting", "--by", "R. Hale", "--why", "seen")
    assert run("lot", LOT, *told).code == 0
    with closing(works.open()) as store:
        file_trays(store, 1, first=4)
        file_result(store, to_file(replace(made_tray("T-900"), part="DS-182")))
    code, said, _ = run("lot", "--works", works.folder)
    assert code == 0
    assert "reject 6; DS-182 open; TS-135 released, then more trays came" in said


def test_the_report_shows_the_worst_piece_and_what_is_not_known(works: Works, tmp_path: Path, run: Run) -> None:
    assert run("lot", LOT, "--works", works.folder, "--hold", "--by", "R. Hale", "--why", "burrs").code == 0
    pieces = [made_piece(1, "reject", 0.29), made_piece(2, "reject", 0.42)]
    worst = made_tray("T-004", pieces, taken_at="2026-11-02T06:04:00+00:00")
    with closing(works.open()) as store:
        file_result(store, to_file(worst))
    assert run("lot", LOT, "--works", works.folder, "--out", tmp_path).code == 0
    page, table = (tmp_path / "lot.html").read_text(), json.loads((tmp_path / "lot.json").read_text())
    assert "<b>Tray T-004, piece 2</b><br>reject: outward deviation, bowl" in page
    assert "Held, then more trays came:" in page
    assert "Filed after it was released or held: T-004." in page
    assert "be told: nobody judged, in a blind round" in page
    assert (table["standing"], table["filed_after_the_decision"]) == ("held, then more trays came", ["T-004"])
    assert table["escapes"] is None
    assert [(one["first_tray"], one["pieces"], one["not_passed"]) for one in table["over_time"]][-2:] == [
        ("T-003", 3, pytest.approx(2 / 3)),
        ("T-004", 2, 1.0),
    ]
    assert table["shots"][4] == {
        "tray": "T-004", "station": "ST-1", "taken_at": "2026-11-02T06:04:00+00:00", "limits_revision": 3,
        "software": "brightbowl 0.1.0", "process": {"die": "D4", "strokes": 182400.0},
    }  # fmt: skip
    assert table["results"][-1]["first_reason"] == "outline_out_mm.bowl"


def test_the_report_of_a_lot_by_sample_names_what_may_be_chosen(works: Works, tmp_path: Path, run: Run) -> None:
    seen_in_version_5 = {"trays": 1, "pieces": 80, "to_packing": 80, "waiting": 0}
    with closing(works.open()) as store:
        newest = sampled_good_lots(store, 10)[-1]
        decide(store, decision("hold", lot=newest, seen=seen_in_version_5))
    who = ("--by", "R. Hale", "--why", "steady", "--out", tmp_path)
    assert run("lot", newest, "--works", works.folder, "--next", "reduced", *who).code == 0
    page, table = (tmp_path / "lot.html").read_text(), json.loads((tmp_path / "lot.json").read_text())
    assert (table["acceptance"]["next_severity"], table["acceptance"]["next_may_be_chosen"]) == ("reduced", ["normal"])
    _, decided = table["decisions"]
    assert (decided["decision"], decided["seen"]["sample"]["outcome"]) == ("reduced", "accepted")
    assert "<td>next lot reduced</td>" in page
    assert "the first 80 pieces photographed are the sample" in page

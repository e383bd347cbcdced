"""The desk's routes without a browser: who may call, what is refused, what stays in the store."""

import contextlib
import http.client
import json
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from starlette.applications import Starlette

from app.pages.routes import routes
from app.pages.server_state import Pass, ServerState, lasting_secret
from app.store.database import schema
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.review_queue import Holder, give_back
from app.store.people.verdicts import standing
from tests.pages.made_works import made_works

HALE = Pass("R. Hale", ("review",), "declared")
GUEST = Pass("Guest", ("read",), "declared")


@pytest.fixture(scope="module")
def server_state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerState]:
    """A desk on a works with two trays."""
    works = made_works(tmp_path_factory.mktemp("routes") / "works", trays=2, drawn=2)
    store = works.open()
    yield ServerState(store, works)
    store.close()


@dataclass(frozen=True)
class Answer:
    """What a route answered."""

    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def text(self) -> str:
        """The answer as text."""
        return self.content.decode()


@dataclass(frozen=True)
class Client:
    """Calls routes on loopback."""

    port: int

    def ask(self, method: str, path: str, body: str | None = None, cookie: str = "") -> Answer:
        """One call, the path sent as it stands."""
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)) as connection:
            connection.request(method, path, body, {"Cookie": cookie} if cookie else {})
            answer = connection.getresponse()
            headers = {name.lower(): value for name, value in answer.getheaders()}
            return Answer(answer.status, headers, answer.read())

    def get(self, path: str, cookie: str = "") -> Answer:
        """Fetch."""
        return self.ask("GET", path, cookie=cookie)


@contextlib.contextmanager
def answering(server_state: ServerState) -> Iterator[Client]:
    """The routes of a desk on a port of loopback."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(Starlette(routes=list(routes(server_state))), log_level="error", lifespan="off")
    )
    thread = threading.Thread(target=server.run, args=([listening],))
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield Client(listening.getsockname()[1])
    server.should_exit = True
    thread.join()
    listening.close()


@pytest.fixture(scope="module")
def client(server_state: ServerState) -> Iterator[Client]:
    """Calls the routes."""
    with answering(server_state) as one:
        yield one


def call(client: Client, path: str, one: str, **body: Any) -> tuple[int, dict[str, Any]]:
    """Post to a route: its status and what it says."""
    answer = client.ask("POST", f"/desk/{path}", json.dumps({"pass": one, "holder": "browser-1", **body}))
    return answer.status, json.loads(answer.content)


WANTED = {"order": "worst"}


def card_for(client: Client, server_state: ServerState) -> dict[str, Any]:
    """The first piece of the queue."""
    status, told = call(client, "next", server_state.write_pass(HALE), wanted=WANTED, have=[], count=3)
    assert status == 200
    return dict(told["cards"][0])


def verdict(card: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """A verdict as the viewer sends it."""
    return {
        "uid": "0123456789abcdef",
        "piece_id": card["piece_id"],
        "judgement_id": card["judgement_id"],
        "verdict": "accept",
        "defects": [],
        "note": "",
        "given_at": "2026-11-02T06:00:00Z",
        **changes,
    }


def test_a_verdict_is_answered_when_the_store_has_it(client: Client, server_state: ServerState) -> None:
    card = card_for(client, server_state)
    body = {"verdicts": [verdict(card)], "wanted": WANTED}
    status, told = call(client, "verdicts", server_state.write_pass(HALE), **body)
    assert (status, told["receipts"][0]["outcome"]) == (200, "stored")
    assert [one.uid for one in standing(server_state.store, "R. Hale")] == ["0123456789abcdef"]
    assert call(client, "verdicts", server_state.write_pass(HALE), **body)[1]["receipts"][0]["outcome"] == "known"


def label(card: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """A label as the viewer sends it, of the scratch that people are told of."""
    (scratch,) = [one for one in card["findings"] if one["tag"] == "scratch"]
    return {
        "uid": "fedcba9876543210",
        "judgement_id": card["judgement_id"],
        "finding": scratch["finding"],
        "label": "mark",
        "given_at": "2026-11-02T06:00:00Z",
        **changes,
    }


def test_a_card_tells_which_findings_may_be_labelled_and_what_was_said(
    client: Client, server_state: ServerState
) -> None:
    hale = server_state.write_pass(HALE)
    _, told = call(client, "next", hale, wanted=WANTED, have=[], count=8)
    assert [one["finding"] is None for one in told["cards"][0]["findings"]].count(True) == 2  # burr and bend
    card = next(one for one in told["cards"] if one["questions"])
    asked = card["questions"][0]
    assert asked["words"] == "A question: is this a mark?"
    assert asked["box"] is not None
    assert (len(asked["points"]), card["lights"][asked["light"]]["name"][:3]) == (1, "low")
    assert (asked["finding"] in {one["finding"] for one in card["findings"]}, card["labels"]) == (False, {})
    said = [label(card, uid="a" * 16, finding=asked["finding"], label="none"), label(card, uid="b" * 16)]
    _, answer = call(client, "labels", hale, labels=said)
    assert answer == {
        "receipts": [{"uid": one["uid"], "outcome": "stored", "detail": ""} for one in said],
        "labels": 2,
    }
    assert call(client, "labels", hale, labels=said)[1]["receipts"][0]["outcome"] == "known"
    _, again = call(client, "cards", hale, judgements=[card["judgement_id"]])
    assert again["cards"][0]["labels"] == {str(asked["finding"]): "none", str(said[1]["finding"]): "mark"}
    assert call(client, "mine", hale)[1]["labels"] == 2
    kept = {one.uid: one for one in label_rows(server_state)}
    assert (kept["a" * 16].shown_because, kept["b" * 16].shown_because) == ("sample", "sure")


def label_rows(server_state: ServerState) -> list[Any]:
    """All labels, as filed."""
    with server_state.store.read() as connection:
        return list(connection.execute(schema.finding_label.select()))


@pytest.mark.parametrize(
    "changes",
    [
        {"label": "maybe"},
        {"uid": "short"},
        {"finding": "1"},
        {"finding": -1},
        {"inspector": "M. Okafor"},
        {"share": 0.5},
    ],
)
def test_a_label_that_no_viewer_sends_is_refused(
    client: Client, server_state: ServerState, changes: dict[str, Any]
) -> None:
    body = {"labels": [label(card_for(client, server_state), **changes)]}
    before = label_rows(server_state)
    assert call(client, "labels", server_state.write_pass(HALE), **body)[0] == 400
    status, told = call(client, "labels", server_state.write_pass(GUEST), labels=[])
    assert (status, "Guest may look" in told["error"]) == (403, True)
    assert label_rows(server_state) == before


def test_a_blind_piece_bears_a_running_number_and_nothing_by_which_it_is_known(
    client: Client, server_state: ServerState
) -> None:
    drawn = draw_pieces(server_state.store, Draw(None, 6, 1))
    blind = make_blind(server_state.store, "routes", 1, 2, drawn, "R. Hale")
    _, told = call(client, "blind", server_state.write_pass(HALE), blind=blind.id, have=[], count=12)
    assert [one["number"] for one in told["cards"]] == list(range(1, 13))
    seen = {"piece_id", "judgement_id", "blind", "size", "px_per_mm", "lights", "outline", "questions", "labels"}
    assert {key for one in told["cards"] for key in one} == seen | {"blind_id", "turn", "number"}
    assert [one for one in told["cards"] if one["questions"] or one["labels"]] == []
    status, refused = call(client, "looks", server_state.write_pass(HALE), blind=blind.id, have=[], count=3)
    assert (status, "judge the rest first" in refused["error"]) == (503, True)


def test_findings_are_looked_at_a_second_time_without_what_the_camera_said(
    client: Client, server_state: ServerState, monkeypatch: pytest.MonkeyPatch
) -> None:
    hale, okafor = (server_state.write_pass(Pass(name, ("review",), "declared")) for name in ("R. Hale", "M. Okafor"))
    monkeypatch.setattr("app.store.people.looks.drawn_again", lambda _: True)
    monkeypatch.setattr("app.store.people.labels.drawn_again", lambda _: True)
    _, one = call(client, "one", hale, tray="T-000002", piece=2)
    card = one["cards"][0]
    call(client, "labels", hale, labels=[label(card, uid="c" * 16)])
    have = [row.judgement_id for row in label_rows(server_state) if row.judgement_id != card["judgement_id"]]
    _, told = call(client, "looks", okafor, have=have, count=3)
    (look,) = told["cards"]
    seen = {"piece_id", "judgement_id", "blind", "size", "px_per_mm", "lights", "outline", "questions", "labels"}
    assert look.keys() == seen | {"number", "look"}
    assert (look["blind"], look["look"], look["labels"]) == (True, {"again": True}, {})
    (asked,) = look["questions"]
    assert not {"probability", "tag"} & asked.keys()
    said = label(card, uid="d" * 16, finding=asked["finding"], label="none", again=True)
    assert call(client, "labels", okafor, labels=[said])[1]["receipts"][0]["outcome"] == "stored"
    assert label_rows(server_state)[-1].shown_because == "again"
    assert call(client, "looks", okafor, have=have, count=3)[1]["cards"] == []


def test_counts_tell_who_has_what_in_hand(client: Client, server_state: ServerState) -> None:
    card_for(client, server_state)
    okafor = server_state.write_pass(Pass("M. Okafor", ("review",), "declared"))
    body = {"pass": okafor, "holder": "browser-2", "wanted": WANTED}
    told = json.loads(client.ask("POST", "/desk/count", json.dumps(body)).content)
    assert sum(told["in_hand"].values()) <= told["left"]
    assert set(told["in_hand"]) == {"R. Hale"}
    mine = told["in_hand"]["R. Hale"]
    body |= {"have": [], "count": 24, "take_over": True}
    assert len(json.loads(client.ask("POST", "/desk/next", json.dumps(body)).content)["cards"]) == told["left"] >= mine
    assert call(client, "count", server_state.write_pass(HALE), wanted=WANTED)[1]["in_hand"] == {
        "M. Okafor": told["left"]
    }
    give_back(server_state.store, Holder("browser-2", "M. Okafor"))


def test_a_pass_is_needed_and_can_not_be_made(client: Client, server_state: ServerState) -> None:
    good = server_state.write_pass(HALE)
    for forged in ("", "x", good[:-2] + "xx", ServerState(server_state.store, None).write_pass(HALE)):
        status, told = call(client, "next", forged, wanted=WANTED, have=[], count=1)
        assert (status, "load it again" in told["error"]) == (401, True)


def test_who_may_read_can_not_judge(client: Client, server_state: ServerState) -> None:
    card = card_for(client, server_state)
    body = {"verdicts": [verdict(card, uid="f" * 16)], "wanted": WANTED}
    status, told = call(client, "verdicts", server_state.write_pass(GUEST), **body)
    assert (status, "Guest may look" in told["error"]) == (403, True)
    assert "f" * 16 not in [one.uid for one in standing(server_state.store)]


@pytest.mark.parametrize(
    "changes",
    [
        {"verdict": "maybe"},
        {"uid": "short"},
        {"note": "x" * 5000},
        {"defects": ["<script>"]},
        {"defects": ["burr;nick"]},
        {"piece_id": "1"},
        {"inspector": "M. Okafor"},
    ],
)
def test_what_no_viewer_sends_is_refused_whole(
    client: Client, server_state: ServerState, changes: dict[str, Any]
) -> None:
    card = card_for(client, server_state)
    before = standing(server_state.store)
    body = {"verdicts": [verdict(card, uid="e" * 16), verdict(card, **changes)], "wanted": WANTED}
    assert call(client, "verdicts", server_state.write_pass(HALE), **body)[0] == 400
    assert standing(server_state.store) == before


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("", 400),
        ("{", 400),
        ("[" * 100_000, 400),
        ('{"pass": ' + "[" * 300, 400),
        ('{"pass": "x", "holder": "\\ud800"}', 400),
        ('{"pass": "x", "holder": "a\\u0000b"}', 400),
        (json.dumps({"pass": "x", "holder": "b" * 201}), 400),
        (json.dumps({"pass": "x", "holder": "b", "judgements": [2**63]}), 400),
        (json.dumps({"pass": "x", "holder": "b", "judgements": [1e300]}), 400),
        (" " * 1_000_001, 413),
    ],
)
def test_what_can_not_be_read_is_the_callers_fault(client: Client, body: str, status: int) -> None:
    answer = client.ask("POST", "/desk/cards", body)
    assert (answer.status, "error" in json.loads(answer.content)) == (status, True)


def test_pictures_of_numbers_that_no_store_holds_are_none(client: Client) -> None:
    for path in (f"frame/{2**63}/1.jpg", f"frame/1/{10**40}.jpg", f"tray/{2**63}/1.jpg"):
        assert client.get(f"/desk/{path}").status == 404


def test_pictures_are_of_filed_frames_only(client: Client, server_state: ServerState) -> None:
    card = card_for(client, server_state)
    for light in card["lights"]:
        answer = client.get(light["url"])
        assert (answer.status, answer.headers["content-type"]) == (200, "image/jpeg")
        assert answer.content[:2] == b"\xff\xd8"
    tray = client.get(card["tray_picture"])
    assert tray.status == 200
    assert 0.0 < float(tray.headers["x-shrink"]) <= 1.0
    for path in ("frame/999999/1.jpg", f"frame/{card['judgement_id']}/999999.jpg", "tray/999999/1.jpg"):
        assert client.get(f"/desk/{path}").status == 404
    for path in ("frame/../../works.toml", "frame/1/../works.toml", "frame/1/x.jpg"):
        assert client.get(f"/desk/{path}").status == 404


def test_a_damaged_or_missing_frame_is_named(client: Client, server_state: ServerState) -> None:
    assert server_state.works is not None
    status, told = call(client, "one", server_state.write_pass(HALE), tray="T-000002", piece=1)
    assert status == 200
    frame = server_state.works.shots / "S-1" / "dome.png"
    content = frame.read_bytes()
    url = next(light["url"] for light in told["cards"][0]["lights"] if light["name"] == "dome")
    for damaged, words in ((content[: len(content) // 3][:200], "damaged"), (b"", "damaged"), (None, "missing")):
        frame.unlink(missing_ok=True)
        if damaged is not None:
            frame.write_bytes(damaged)
        answer = client.get(url)
        assert (answer.status, "dome.png" in answer.text, words in answer.text) == (404, True, True)
    frame.write_bytes(content)
    assert client.get(url).status == 200


def test_where_people_sign_in_nobody_off_the_works_list_gets_a_picture_or_a_piece(
    server_state: ServerState, monkeypatch: pytest.MonkeyPatch
) -> None:
    from streamlit.web.server.starlette import starlette_auth_routes as streamlit_auth
    from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

    def cookie(told: str) -> str:
        return f"{USER_COOKIE_NAME}={create_signed_value('a secret of this test', USER_COOKIE_NAME, told).decode()}"

    monkeypatch.setattr(streamlit_auth, "get_cookie_secret", lambda: "a secret of this test")
    locked = ServerState(server_state.store, server_state.works, login=True)
    hale = cookie('{"email": "Hale@aldermoor.example"}')
    strangers = [(cookie(told), 403) for told in ('{"email": "stranger@elsewhere.example"}',)]
    strangers += [(cookie(told), 401) for told in ("{}", "[1]", "{", '{"email": 3}')]
    strangers += [("", 401), (hale[:-3] + "abc", 401)]
    body = json.dumps({"pass": locked.write_pass(HALE), "holder": "b", "wanted": WANTED, "have": [], "count": 1})
    with answering(locked) as client:
        told = client.ask("POST", "/desk/next", body, hale)
        url = json.loads(told.content)["cards"][0]["lights"][0]["url"]
        assert (told.status, client.get(url, hale).status) == (200, 200)
        for bears, status in strangers:
            assert client.get(url, bears).status == status
            assert client.ask("POST", "/desk/next", body, bears).status == 401
        okafor = cookie('{"email": "okafor@aldermoor.example"}')
        assert client.ask("POST", "/desk/next", body, okafor).status == 401  # another's pass


def test_the_works_secret_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    secret = lasting_secret(tmp_path)
    assert lasting_secret(tmp_path) == secret
    assert (tmp_path / ".desk-secret").stat().st_mode & 0o077 == 0
    assert len(secret) == 64

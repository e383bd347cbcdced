"""The server's own routes: pieces and pictures out, verdicts and labels in. Nothing here draws or measures.

A verdict or label is answered only when the store has it. Every call but that for a picture carries a pass, which the
page wrote for the person at it; pictures are for whoever may see the page. Where people sign in, every call and picture
asks for the cookie of a person on the works' list besides.
"""

from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from app.pages.calls import (
    BlindCall,
    Call,
    CardsCall,
    CountCall,
    LabelsCall,
    LooksCall,
    NextCall,
    OneCall,
    RenewCall,
    VerdictsCall,
)
from app.pages.cards import cards, held_by, look_cards
from app.pages.picture_routes import picture_routes
from app.pages.server_state import Pass, ServerState
from app.pages.signed_in import email_signed_in
from app.store import (
    Blind,
    Holder,
    NewLabel,
    NewVerdict,
    Wanted,
    blinds,
    claim,
    give,
    give_back,
    give_label,
    holding,
    in_hand,
    label_count,
    looks_of_round,
    newest_judgement,
    newest_judgements,
    pace,
    renew,
    second_looks,
    standing,
    turns_left,
    waiting_count,
)
from app.works import may
from vision.errors import Unusable

BODY_MAX_BYTES = 1_000_000
PACE_MINUTES = 10
RECENT = 8  # verdicts that can be taken back after the page was opened anew


def routes(server: ServerState) -> list[Route]:
    """All routes of the desk."""

    def post(path: str, form: type[Call], work: Callable[[ServerState, Pass, Any], dict[str, Any]]) -> Route:
        async def answer(request: Request) -> Response:
            body = await _body(request)
            if body is None:
                return JSONResponse({"error": f"a call holds {BODY_MAX_BYTES} bytes at most"}, 413)
            signed_in = email_signed_in(request) if server.login else None
            return await run_in_threadpool(_answer, server, form, work, body, signed_in)

        return Route(f"/desk/{path}", answer, methods=["POST"])

    return [
        post("next", NextCall, _next),
        post("count", CountCall, _count),
        post("one", OneCall, _one),
        post("cards", CardsCall, _cards),
        post("blind", BlindCall, _blind),
        post("looks", LooksCall, _looks),
        post("renew", RenewCall, _renew),
        post("release", Call, _release),
        post("mine", Call, _mine),
        post("verdicts", VerdictsCall, _verdicts),
        post("labels", LabelsCall, _labels),
        *picture_routes(server),
    ]


async def _body(request: Request) -> bytes | None:
    """What a call holds; None where that is more than any page sends, read no further than that."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > BODY_MAX_BYTES:
            return None
    return body


def _answer(
    server: ServerState,
    form: type[Call],
    work: Callable[[ServerState, Pass, Any], dict[str, Any]],
    body: bytes,
    signed_in: str | None,
) -> JSONResponse:
    try:
        call = form.model_validate_json(body)  # nested at most 200 deep, by the parser's own limit
    except ValidationError:
        return JSONResponse({"error": "the page sent something unexpected; load it again"}, 400)
    holder = server.read_pass(call.pass_)
    if holder is None:
        return JSONResponse({"error": "this page is older than the server: load it again"}, 401)
    here = None if signed_in is None else server.person_of(signed_in)
    if server.login and (here is None or here.name != holder.name):
        return JSONResponse({"error": f"{holder.name} is not signed in here: load the page again"}, 401)
    if form in (VerdictsCall, LabelsCall) and not may(holder.roles, "review"):
        return JSONResponse({"error": f"{holder.name} may look, but not judge; the works' list gives the role"}, 403)
    try:
        return JSONResponse(work(server, holder, call))
    except Unusable as fault:
        return JSONResponse({"error": str(fault)}, 503)


def _progress(server: ServerState, who: Pass, key: str, wanted: Wanted) -> dict[str, Any]:
    """How many wait, how many of them others have in hand, and how many this person judged lately."""
    since = (datetime.now(UTC) - timedelta(minutes=PACE_MINUTES)).isoformat(timespec="milliseconds")
    return {
        "left": waiting_count(server.store, wanted),
        "in_hand": in_hand(server.store, Holder(key, who.name), wanted),
        "pace": pace(server.store, since, who.name),
    }


def _count(server: ServerState, who: Pass, call: CountCall) -> dict[str, Any]:
    return _progress(server, who, call.holder, call.wanted)


def _next(server: ServerState, who: Pass, call: NextCall) -> dict[str, Any]:
    wanted = call.wanted
    holder = Holder(call.holder, who.name)
    pieces = claim(server.store, holder, wanted, call.count, call.have, take_over=call.take_over)
    newest = newest_judgements(server.store, pieces)
    found = cards(server, [newest[piece] for piece in pieces], who.name)
    return {"cards": found, **_progress(server, who, call.holder, wanted)}


def _one(server: ServerState, who: Pass, call: OneCall) -> dict[str, Any]:
    judgement = newest_judgement(server.store, call.tray, call.piece)
    if judgement is None:
        return {"cards": [], "held_by": None}
    (card,) = cards(server, [judgement], who.name)
    return {"cards": [card], "held_by": held_by(server, card["piece_id"], call.holder)}


def _cards(server: ServerState, who: Pass, call: CardsCall) -> dict[str, Any]:
    return {"cards": cards(server, call.judgements, who.name)}


def _round(server: ServerState, blind_id: int) -> Blind:
    blind = next((one for one in blinds(server.store) if one.id == blind_id), None)
    if blind is None:
        raise Unusable("blind round", str(blind_id), "expected a round that was begun; choose one from the list")
    return blind


def _looks(server: ServerState, who: Pass, call: LooksCall) -> dict[str, Any]:
    """Pieces with findings to look at, of a blind round or a second time: without what the camera said."""
    how: dict[str, int]
    if call.blind is None:
        waiting, how = second_looks(server.store, who.name), {"again": True}
    else:
        waiting, how = looks_of_round(server.store, _round(server, call.blind), who.name), {"blind_id": call.blind}
    coming = [one for one in waiting if one not in call.have][: call.count]
    found = look_cards(server, {one: waiting[one] for one in coming})
    return {"cards": [{**card, "number": len(call.have) + k, "look": how} for k, card in enumerate(found, 1)]}


def _blind(server: ServerState, who: Pass, call: BlindCall) -> dict[str, Any]:
    blind = _round(server, call.blind)
    left = turns_left(server.store, blind, who.name)
    have = {tuple(one) for one in call.have}
    coming = [one for one in left if (one.piece_id, one.turn) not in have][: call.count]
    by_judgement = {
        card["judgement_id"]: card for card in cards(server, [one.judgement_id for one in coming], who.name, blind=True)
    }
    rows = [
        {**by_judgement[one.judgement_id], "blind_id": blind.id, "turn": one.turn, "number": one.number}
        for one in coming
    ]
    return {"cards": rows, "left": len(left), "whole": len(blind.pieces) * blind.rounds}


def _renew(server: ServerState, who: Pass, call: RenewCall) -> dict[str, Any]:
    gone = renew(server.store, Holder(call.holder, who.name), call.pieces)
    judged = {one.piece_id: one.inspector for one in holding(server.store, call.pieces) if one.inspector != who.name}
    return {"gone_to": {**gone, **judged}, **_progress(server, who, call.holder, call.wanted)}


def _release(server: ServerState, who: Pass, call: Call) -> dict[str, Any]:
    give_back(server.store, Holder(call.holder, who.name))
    return {}


def _mine(server: ServerState, who: Pass, call: Call) -> dict[str, Any]:
    server.has_pieces(call.pass_)  # asked for after them
    given = [one for one in standing(server.store, inspector=who.name) if one.blind is None][-RECENT:]
    newest = newest_judgements(server.store, [one.piece_id for one in given])
    rows = [
        {"uid": one.uid, "piece_id": one.piece_id, "judgement_id": newest[one.piece_id], "verdict": one.verdict}
        for one in given
    ]
    return {"given": rows, "labels": label_count(server.store, who.name)}


def _verdicts(server: ServerState, who: Pass, call: VerdictsCall) -> dict[str, Any]:
    receipts = []
    for one in call.verdicts:
        given = NewVerdict(
            uid=one.uid,
            piece_id=one.piece_id,
            judgement_id=one.judgement_id,
            inspector=who.name,
            identity=who.identity,
            verdict=one.verdict,
            defects=tuple(one.defects),
            note=one.note,
            given_at=one.given_at,
            takes_back=one.takes_back,
            seen=one.seen,
            blind_id=one.blind_id,
            turn=one.turn,
        )
        receipts.append(asdict(give(server.store, given)))
    return {"receipts": receipts, **_progress(server, who, call.holder, call.wanted)}


def _labels(server: ServerState, who: Pass, call: LabelsCall) -> dict[str, Any]:
    receipts = []
    for one in call.labels:
        given = NewLabel(
            uid=one.uid,
            judgement_id=one.judgement_id,
            finding=one.finding,
            label=one.label,
            inspector=who.name,
            identity=who.identity,
            given_at=one.given_at,
            blind_id=one.blind_id,
            again=one.again,
        )
        receipts.append(asdict(give_label(server.store, given)))
    return {"receipts": receipts, "labels": label_count(server.store, who.name)}

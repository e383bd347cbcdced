"""The server's routes for pictures: a frame cut upright about one piece, and a whole tray made small.

They are for whoever may see the page; where people sign in, for people on the works' list.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from app.pages.calls import ID_MAX
from app.pages.cards import frames
from app.pages.server_state import ServerState
from app.pages.signed_in import email_signed_in
from app.pages.upright_frames import UprightFrame, tray_jpeg, upright_frame, upright_jpeg
from app.store import PicturePath, part_of, shown, station_of, why_forgotten
from vision.errors import Unusable

CUTS_KEPT = 64
CUT_KEPT_S = 2.0  # a drawing that is filed anew is used so soon
FOREVER = {"Cache-Control": "private, max-age=86400, immutable"}
_CUTTING = Lock()


def picture_routes(server: ServerState) -> list[Route]:
    """The routes of all pictures."""
    return [
        Route("/desk/frame/{judgement:int}/{picture:int}.jpg", _pictures(server, _frame)),
        Route("/desk/tray/{judgement:int}/{picture:int}.jpg", _pictures(server, _tray)),
    ]


def _pictures(server: ServerState, draw: Callable[[ServerState, int, int], Response]) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        if server.login:
            email = email_signed_in(request)
            if email is None:
                return PlainTextResponse("sign in first", 401)
            if server.person_of(email) is None:
                return PlainTextResponse(f"{email} is not on the works' list", 403)
        judgement, picture = request.path_params["judgement"], request.path_params["picture"]
        if max(judgement, picture) > ID_MAX:
            return PlainTextResponse("no such picture", 404)
        return await run_in_threadpool(_picture, server, draw, judgement, picture)

    return answer


def _picture(
    server: ServerState, draw: Callable[[ServerState, int, int], Response], judgement: int, picture: int
) -> Response:
    try:
        return draw(server, judgement, picture)
    except Unusable as fault:
        return PlainTextResponse(str(fault), 404)


def _file(server: ServerState, kept: str) -> Path:
    """Where a picture lies; one that was let go by rule is no loss, and said so."""
    path = server.picture_path(kept)
    why = None if path.exists() else why_forgotten(server.store, kept)
    if why is not None:
        raise Unusable(path.name, "", "no picture any more", why)
    return path


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """How the pictures of a piece are cut: its frames by their row, where they come from, and their white."""

    frames: dict[int, PicturePath]
    upright: UprightFrame | None
    full_scale: float | None


@lru_cache(maxsize=CUTS_KEPT)
def _cut(server: ServerState, judgement: int, _moment: int) -> _Cut | None:
    one = shown(server.store, [judgement]).get(judgement)
    if one is None:
        return None
    station = station_of(server.store, one.station)
    upright = upright_frame(one, part_of(server.store, one.part), station)
    return _Cut({frame.id: frame for frame in frames(one)}, upright, None if station is None else station.full_scale)


def _cut_now(server: ServerState, judgement: int) -> _Cut | None:
    """The frames of a piece are asked for all at once: the store is asked for the first of them."""
    with _CUTTING:
        return _cut(server, judgement, int(monotonic() / CUT_KEPT_S))


def _frame(server: ServerState, judgement: int, picture: int) -> Response:
    cut = _cut_now(server, judgement)
    if cut is None or picture not in cut.frames:
        return PlainTextResponse("no such picture", 404)
    if cut.upright is None:
        return PlainTextResponse("this piece was not found in its frames", 404)
    jpeg = upright_jpeg(_file(server, cut.frames[picture].path), cut.upright, cut.full_scale)
    return Response(jpeg, media_type="image/jpeg", headers=FOREVER)


def _tray(server: ServerState, judgement: int, picture: int) -> Response:
    cut = _cut_now(server, judgement)
    if cut is None or picture not in cut.frames:
        return PlainTextResponse("no such picture", 404)
    jpeg, shrink = tray_jpeg(_file(server, cut.frames[picture].path), cut.full_scale)
    return Response(jpeg, media_type="image/jpeg", headers={**FOREVER, "X-Shrink": f"{shrink:.6f}"})

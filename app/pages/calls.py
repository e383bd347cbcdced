"""What the viewer may ask of the server, as strict forms: whatever else is in a call is refused."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.store import Order

AT_ONCE = 24  # pieces handed out in one call, at most
NOTE_MAX = 2000

Name = Annotated[str, Field(min_length=1, max_length=200)]


class Call(BaseModel):
    """What every call says: the pass, and which browser it is."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    pass_: Annotated[str, Field(alias="pass", max_length=4000)]
    holder: Name


class WantedForm(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    lot: str | None = None
    part: str | None = None
    die: str | None = None
    measure: str | None = None
    severity: str | None = None
    verdict: str | None = None
    order: Order = "worst"


class NextCall(Call):
    wanted: WantedForm
    have: Annotated[list[int], Field(max_length=5000)]
    count: Annotated[int, Field(ge=1, le=AT_ONCE)]


class OneCall(Call):
    tray: Annotated[str, Field(max_length=10_000)]
    piece: int


class CardsCall(Call):
    judgements: Annotated[list[int], Field(max_length=AT_ONCE)]


class BlindCall(Call):
    blind: int
    have: Annotated[list[tuple[int, int]], Field(max_length=5000, strict=False)]
    count: Annotated[int, Field(ge=1, le=AT_ONCE)]


class RenewCall(Call):
    pieces: Annotated[list[int], Field(max_length=500)]
    wanted: WantedForm


class VerdictForm(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    uid: Annotated[str, Field(min_length=8, max_length=64)]
    piece_id: int
    judgement_id: int
    verdict: Literal["accept", "reject", "withdrawn"]
    defects: Annotated[list[Annotated[str, Field(pattern=r"^[a-z_]{1,30}$")]], Field(max_length=20)]
    note: Annotated[str, Field(max_length=NOTE_MAX)]
    given_at: Annotated[str, Field(max_length=40)]
    takes_back: Annotated[str, Field(max_length=64)] | None = None
    seen: Annotated[str, Field(max_length=64)] | None = None
    blind_id: int | None = None
    turn: int | None = None


class VerdictsCall(Call):
    verdicts: Annotated[list[VerdictForm], Field(max_length=1000)]
    wanted: WantedForm

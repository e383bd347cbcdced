"""What the viewer may ask of the server, as strict forms: whatever else is in a call is refused."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.store import NO_ZERO, Text, Wanted

AT_ONCE = 24  # pieces handed out in one call, at most
NOTE_MAX = 2000
ID_MAX = 2**63 - 1  # what a database takes

Id = Annotated[int, Field(ge=0, le=ID_MAX)]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=NO_ZERO)]


class Call(BaseModel):
    """What every call says: the pass, and which browser it is."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    pass_: Annotated[str, Field(alias="pass", max_length=4000)]
    holder: Name


class NextCall(Call):
    wanted: Wanted
    have: Annotated[list[Id], Field(max_length=5000)]
    count: Annotated[int, Field(ge=1, le=AT_ONCE)]
    take_over: bool = False


class CountCall(Call):
    wanted: Wanted


class OneCall(Call):
    tray: Text
    piece: Id


class CardsCall(Call):
    judgements: Annotated[list[Id], Field(max_length=AT_ONCE)]


class BlindCall(Call):
    blind: Id
    have: Annotated[list[tuple[Id, Id]], Field(max_length=5000)]
    count: Annotated[int, Field(ge=1, le=AT_ONCE)]


class LooksCall(Call):
    blind: Id | None = None
    have: Annotated[list[Id], Field(max_length=5000)]
    count: Annotated[int, Field(ge=1, le=AT_ONCE)]


class RenewCall(Call):
    pieces: Annotated[list[Id], Field(max_length=500)]
    wanted: Wanted


class VerdictForm(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    uid: Annotated[str, Field(min_length=8, max_length=64, pattern=NO_ZERO)]
    piece_id: Id
    judgement_id: Id
    verdict: Literal["accept", "reject", "withdrawn"]
    defects: Annotated[list[Annotated[str, Field(pattern=r"^[a-z_]{1,30}$")]], Field(max_length=20)]
    note: Annotated[str, Field(max_length=NOTE_MAX, pattern=NO_ZERO)]
    given_at: Annotated[str, Field(max_length=40, pattern=NO_ZERO)]
    takes_back: Annotated[str, Field(max_length=64, pattern=NO_ZERO)] | None = None
    seen: Annotated[str, Field(max_length=64, pattern=NO_ZERO)] | None = None
    blind_id: Id | None = None
    turn: Id | None = None


class LabelForm(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    uid: Annotated[str, Field(min_length=8, max_length=64, pattern=NO_ZERO)]
    judgement_id: Id
    finding: Id
    label: Literal["mark", "none", "withdrawn"]
    given_at: Annotated[str, Field(max_length=40, pattern=NO_ZERO)]
    blind_id: Id | None = None
    again: bool = False


class LabelsCall(Call):
    labels: Annotated[list[LabelForm], Field(max_length=1000)]


class VerdictsCall(Call):
    verdicts: Annotated[list[VerdictForm], Field(max_length=1000)]
    wanted: Wanted

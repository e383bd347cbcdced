"""The store's tables as the newest version has them, for queries; `migrations` makes them.

What was filed is never changed (triggers see to it): judgements with their measures, reasons, findings and profiles;
each judging of a shot; verdicts; choices; limits and their releases. Rewritten are only what is derived from those and
can be made from them again: `standing_tray` and `standing_piece`, what stands now, and `bench`, the queue; and the name
and lot of a `tray`, each change of which is a `choice`.
"""

from typing import Any

from sqlalchemy import BigInteger, Column, Double, ForeignKey, LargeBinary, MetaData, Table, Text

metadata = MetaData()


def _key() -> Column[int]:
    return Column("id", BigInteger, primary_key=True)


def _to(name: str, target: str, nullable: bool = False) -> Column[int]:
    return Column(name, BigInteger, ForeignKey(f"{target}.id"), nullable=nullable)


def _text(name: str, nullable: bool = False) -> Column[str]:
    return Column(name, Text, nullable=nullable)


def _real(name: str, nullable: bool = True) -> Column[float]:
    return Column(name, Double, nullable=nullable)


def _whole(name: str, nullable: bool = False) -> Column[int]:
    return Column(name, BigInteger, nullable=nullable)


def _table(name: str, *columns: Column[Any]) -> Table:
    return Table(name, metadata, *columns)


def _owned(name: str, target: str) -> Column[int]:
    return Column(name, BigInteger, ForeignKey(f"{target}.id"), primary_key=True)


def _body() -> Column[bytes]:
    return Column("body", LargeBinary, nullable=False)


part = _table("part", _key(), _text("part"), _text("digest"), _body(), _text("filed_at"))
station = _table("station", _key(), _text("station"), _text("digest"), _body(), _text("filed_at"))
limits_revision = _table(
    "limits_revision",
    _key(),
    _text("part"),
    _whole("revision"),
    _text("status"),
    _text("digest"),
    _body(),
    _text("filed_at"),
)
limits_act = _table(
    "limits_act",
    _key(),
    _to("limits_id", "limits_revision"),
    _text("given_by"),
    _text("identity"),
    _text("why"),
    _text("given_at"),
)
lot = _table("lot", _key(), _text("lot"), _text("filed_at"))
lot_value = _table(
    "lot_value",
    _key(),
    _to("lot_id", "lot"),
    _text("name"),
    _real("number"),
    _text("words", nullable=True),
    _text("given_by"),
    _text("given_at"),
)
tray = _table("tray", _key(), _text("tray"), _to("lot_id", "lot", nullable=True))
shot = _table(
    "shot",
    _key(),
    _to("tray_id", "tray"),
    _text("digest"),
    _text("part"),
    _text("station"),
    _to("lot_id", "lot", nullable=True),
    _text("taken_at", nullable=True),
    _text("filed_at"),
)
process_value = _table(
    "process_value",
    _owned("shot_id", "shot"),
    Column("name", Text, primary_key=True),
    _real("number"),
    _text("words", nullable=True),
)
filing = _table(
    "filing",
    _key(),
    _to("shot_id", "shot"),
    _text("digest"),
    _whole("limits_revision"),
    _text("software"),
    _to("part_id", "part", nullable=True),
    _to("station_id", "station", nullable=True),
    _text("filed_at"),
)
filing_known = _table("filing_known", _owned("filing_id", "filing"), _owned("judgement_id", "judgement"))
shot_identity = _table("shot_identity", _owned("shot_id", "shot"), _text("frames", nullable=True), _whole("place"))
judging = _table(
    "judging",
    _key(),
    _to("filing_id", "filing"),
    _to("limits_id", "limits_revision", nullable=True),
    _text("judged_at", nullable=True),
    _text("part_digest", nullable=True),
    _text("station_digest", nullable=True),
    _text("limits_digest", nullable=True),
    _text("proof"),
    _whole("stood"),
    _whole("changed"),
    _text("result_path", nullable=True),
    _text("result_digest", nullable=True),
    _text("filed_at"),
)
choice = _table(
    "choice",
    _key(),
    _text("kind"),
    _to("tray_id", "tray"),
    _to("shot_id", "shot", nullable=True),
    _text("tray_before"),
    _text("lot_before", nullable=True),
    _text("tray"),
    _text("lot", nullable=True),
    _text("given_by"),
    _text("identity"),
    _text("why"),
    _text("given_at"),
)
doubt = _table("doubt", _key(), _text("kind"), _to("tray_id", "tray"), _text("found_at"))
doubt_settled = _table("doubt_settled", _owned("doubt_id", "doubt"), _text("given_by"), _text("why"), _text("given_at"))
tray_finding = _table(
    "tray_finding",
    _owned("filing_id", "filing"),
    Column("place", BigInteger, primary_key=True),
    _text("kind"),
    _real("x_px"),
    _real("y_px"),
    _text("detail"),
)
picture = _table(
    "picture",
    _key(),
    _to("shot_id", "shot"),
    _text("path"),
    _text("kind"),
    _text("light", nullable=True),
    _real("azimuth_deg"),
    _whole("piece", nullable=True),
    _text("filed_at"),
)
piece = _table("piece", _key(), _to("tray_id", "tray"), _whole("piece"))
judgement = _table(
    "judgement",
    _key(),
    _to("piece_id", "piece"),
    _to("filing_id", "filing"),
    _text("verdict"),
    _text("fault", nullable=True),
    _real("x_px"),
    _real("y_px"),
    _real("angle_deg"),
    _real("fit_rms_mm"),
    _text("digest"),
)
standing_tray = _table("standing_tray", _owned("tray_id", "tray"), _to("judging_id", "judging"))
standing_piece = _table("standing_piece", _owned("piece_id", "piece"), _to("judgement_id", "judgement"))
measure = _table(
    "measure",
    _owned("judgement_id", "judgement"),
    Column("measure", Text, primary_key=True),
    Column("zone", Text, primary_key=True),
    _real("value"),
    _real("uncertainty"),
)
reason = _table(
    "reason",
    _owned("judgement_id", "judgement"),
    Column("place", BigInteger, primary_key=True),
    _text("measure"),
    _text("zone", nullable=True),
    _real("value"),
    _real("uncertainty"),
    _real("lower"),
    _real("upper"),
    _text("class"),
    _text("outcome"),
    _real("conformance"),
)
finding_list = _table("finding_list", _owned("judgement_id", "judgement"), _body())
profile = _table("profile", _owned("judgement_id", "judgement"), _body())
blind_round = _table(
    "blind_round", _key(), _text("name"), _whole("seed"), _whole("rounds"), _text("made_by"), _text("made_at")
)
blind_piece = _table(
    "blind_piece",
    _owned("blind_id", "blind_round"),
    Column("place", BigInteger, primary_key=True),
    _to("piece_id", "piece"),
    _to("judgement_id", "judgement"),
    _text("stratum", nullable=True),
)
blind_stratum = _table(
    "blind_stratum",
    _owned("blind_id", "blind_round"),
    Column("stratum", Text, primary_key=True),
    Column("lot", Text, primary_key=True),
    Column("part", Text, primary_key=True),
    _whole("size"),
)
verdict = _table(
    "verdict",
    _key(),
    _text("uid"),
    _to("piece_id", "piece"),
    _to("judgement_id", "judgement", nullable=True),
    _text("inspector"),
    _text("identity"),
    _whole("round"),
    _text("verdict"),
    _text("defects"),
    _text("note"),
    _text("given_at"),
    _text("filed_at"),
    _to("replaces", "verdict", nullable=True),
    _to("blind_id", "blind_round", nullable=True),
    _to("seen_id", "verdict", nullable=True),
)
bench = _table(
    "bench",
    _owned("piece_id", "piece"),
    _to("judgement_id", "judgement"),
    _whole("waiting"),
    _real("badness", nullable=False),
    _text("class"),
    _text("verdict"),
    _text("part"),
    _text("lot"),
    _text("die"),
    _text("taken_at"),
    _text("holder"),
    _text("holder_name"),
    _real("held_until", nullable=False),
)
station_check = _table(
    "station_check",
    _key(),
    _text("station"),
    _text("digest"),
    _text("outcome"),
    _body(),
    _text("checked_at"),
    _text("filed_at"),
)
lot_decision = _table(
    "lot_decision",
    _key(),
    _text("uid"),
    _to("lot_id", "lot"),
    _text("part"),
    _text("decision"),
    _text("given_by"),
    _text("identity"),
    _text("why"),
    _body(),
    _text("given_at"),
)
decided_judging = _table("decided_judging", _owned("decision_id", "lot_decision"), _owned("judging_id", "judging"))
chain_link = _table("chain_link", _key(), _text("kind"), _whole("row_id"), _text("digest"), _text("hash"))
kept_file = _table("kept_file", _key(), _text("path"), _text("digest"), _whole("bytes"), _text("filed_at"))
forgotten = _table(
    "forgotten",
    _key(),
    _text("path"),
    _text("digest"),
    _text("rule"),
    _text("given_by"),
    _text("identity"),
    _text("given_at"),
)
set_aside = _table("set_aside", _key(), _text("folder"), _text("digest"), _text("why"), _text("filed_at"))
watched = _table("watched", _key(), _text("folder"), _text("digest"), _text("tray"), _text("filed_at"))
line_message = _table(
    "line_message",
    _key(),
    _to("judging_id", "judging"),
    _text("station"),
    _whole("sequence"),
    _body(),
    _text("filed_at"),
)
line_sent = _table("line_sent", _owned("message_id", "line_message"), _text("sent_at"))

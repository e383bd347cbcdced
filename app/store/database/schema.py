"""The store's tables as the newest version has them, for queries; `migrations` makes them.

What was filed is never changed (triggers see to it): judgements with their measures, reasons, findings and profiles;
verdicts; limits and their releases. Only `bench`, the queue of flagged pieces, is rewritten: it is derived from the
others and can be rebuilt from them.
"""

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


def _body() -> Column[bytes]:
    return Column("body", LargeBinary, nullable=False)


part = Table("part", metadata, _key(), _text("part"), _text("digest"), _body(), _text("filed_at"))
station = Table("station", metadata, _key(), _text("station"), _text("digest"), _body(), _text("filed_at"))
limits_revision = Table(
    "limits_revision",
    metadata,
    _key(),
    _text("part"),
    _whole("revision"),
    _text("status"),
    _text("digest"),
    _body(),
    _text("filed_at"),
)
limits_act = Table(
    "limits_act",
    metadata,
    _key(),
    _to("limits_id", "limits_revision"),
    _text("given_by"),
    _text("identity"),
    _text("why"),
    _text("given_at"),
)
lot = Table("lot", metadata, _key(), _text("lot"), _text("filed_at"))
lot_value = Table(
    "lot_value",
    metadata,
    _key(),
    _to("lot_id", "lot"),
    _text("name"),
    _real("number"),
    _text("words", nullable=True),
    _text("given_by"),
    _text("given_at"),
)
tray = Table("tray", metadata, _key(), _text("tray"))
shot = Table(
    "shot",
    metadata,
    _key(),
    _to("tray_id", "tray"),
    _text("digest"),
    _text("part"),
    _text("station"),
    _to("lot_id", "lot", nullable=True),
    _text("taken_at", nullable=True),
    _text("filed_at"),
)
process_value = Table(
    "process_value",
    metadata,
    Column("shot_id", BigInteger, ForeignKey("shot.id"), primary_key=True),
    Column("name", Text, primary_key=True),
    _real("number"),
    _text("words", nullable=True),
)
filing = Table(
    "filing",
    metadata,
    _key(),
    _to("shot_id", "shot"),
    _text("digest"),
    _whole("limits_revision"),
    _text("software"),
    _to("part_id", "part", nullable=True),
    _to("station_id", "station", nullable=True),
    _text("filed_at"),
)
tray_finding = Table(
    "tray_finding",
    metadata,
    Column("filing_id", BigInteger, ForeignKey("filing.id"), primary_key=True),
    Column("place", BigInteger, primary_key=True),
    _text("kind"),
    _real("x_px"),
    _real("y_px"),
    _text("detail"),
)
picture = Table(
    "picture",
    metadata,
    _key(),
    _to("shot_id", "shot"),
    _text("path"),
    _text("kind"),
    _text("light", nullable=True),
    _real("azimuth_deg"),
    _whole("piece", nullable=True),
    _text("filed_at"),
)
piece = Table("piece", metadata, _key(), _to("tray_id", "tray"), _whole("piece"))
judgement = Table(
    "judgement",
    metadata,
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
measure = Table(
    "measure",
    metadata,
    Column("judgement_id", BigInteger, ForeignKey("judgement.id"), primary_key=True),
    Column("measure", Text, primary_key=True),
    Column("zone", Text, primary_key=True),
    _real("value"),
    _real("uncertainty"),
)
reason = Table(
    "reason",
    metadata,
    Column("judgement_id", BigInteger, ForeignKey("judgement.id"), primary_key=True),
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
finding_list = Table(
    "finding_list",
    metadata,
    Column("judgement_id", BigInteger, ForeignKey("judgement.id"), primary_key=True),
    _body(),
)
profile = Table(
    "profile",
    metadata,
    Column("judgement_id", BigInteger, ForeignKey("judgement.id"), primary_key=True),
    _body(),
)
blind_round = Table(
    "blind_round",
    metadata,
    _key(),
    _text("name"),
    _whole("seed"),
    _whole("rounds"),
    _text("made_by"),
    _text("made_at"),
)
blind_piece = Table(
    "blind_piece",
    metadata,
    Column("blind_id", BigInteger, ForeignKey("blind_round.id"), primary_key=True),
    Column("place", BigInteger, primary_key=True),
    _to("piece_id", "piece"),
    _to("judgement_id", "judgement"),
)
verdict = Table(
    "verdict",
    metadata,
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
)
bench = Table(
    "bench",
    metadata,
    Column("piece_id", BigInteger, ForeignKey("piece.id"), primary_key=True),
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
station_check = Table(
    "station_check",
    metadata,
    _key(),
    _text("station"),
    _text("digest"),
    _text("outcome"),
    _body(),
    _text("checked_at"),
    _text("filed_at"),
)
lot_decision = Table(
    "lot_decision",
    metadata,
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
decided_filing = Table(
    "decided_filing",
    metadata,
    Column("decision_id", BigInteger, ForeignKey("lot_decision.id"), primary_key=True),
    Column("filing_id", BigInteger, ForeignKey("filing.id"), primary_key=True),
)
set_aside = Table("set_aside", metadata, _key(), _text("folder"), _text("digest"), _text("why"), _text("filed_at"))
watched = Table("watched", metadata, _key(), _text("folder"), _text("digest"), _text("tray"), _text("filed_at"))
line_message = Table(
    "line_message",
    metadata,
    _key(),
    _to("filing_id", "filing"),
    _text("station"),
    _whole("sequence"),
    _body(),
    _text("filed_at"),
)
line_sent = Table(
    "line_sent",
    metadata,
    Column("message_id", BigInteger, ForeignKey("line_message.id"), primary_key=True),
    _text("sent_at"),
)

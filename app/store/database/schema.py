"""The store's tables as the newest version has them, for queries; `migrations` makes them.

What was filed is never changed (triggers see to it): judgements with their measures, reasons, findings and profiles;
each judging of a shot; verdicts; labels of findings; choices; limits and their releases. Rewritten are only what is
derived from those and can be made from them again: `standing_tray` and `standing_piece`, what stands now, `lot_sum`,
sums of it by lot, and `bench`, the queue; and the name and lot of a `tray`, each change of which is a `choice`.
"""

from sqlalchemy import BigInteger, Column, Text

from app.store.database.columns import body, key, metadata as metadata, owned, real, table, text, to, whole

part = table("part", key(), text("part"), text("digest"), body(), text("filed_at"))
station = table("station", key(), text("station"), text("digest"), body(), text("filed_at"))
limits_revision = table(
    "limits_revision", key(), text("part"), whole("revision"), text("status"), text("digest"), body(), text("filed_at")
)
limits_act = table(
    "limits_act",
    key(),
    to("limits_id", "limits_revision"),
    text("given_by"),
    text("identity"),
    text("why"),
    text("given_at"),
)
lot = table("lot", key(), text("lot"), text("filed_at"))
lot_value = table(
    "lot_value",
    key(),
    to("lot_id", "lot"),
    text("name"),
    real("number"),
    text("words", nullable=True),
    text("given_by"),
    text("given_at"),
)
tray = table("tray", key(), text("tray"), to("lot_id", "lot", nullable=True))
shot = table(
    "shot",
    key(),
    to("tray_id", "tray"),
    text("digest"),
    text("part"),
    text("station"),
    to("lot_id", "lot", nullable=True),
    text("taken_at", nullable=True),
    text("filed_at"),
)
process_value = table(
    "process_value",
    owned("shot_id", "shot"),
    Column("name", Text, primary_key=True),
    real("number"),
    text("words", nullable=True),
)
filing = table(
    "filing",
    key(),
    to("shot_id", "shot"),
    text("digest"),
    whole("limits_revision"),
    text("software"),
    to("part_id", "part", nullable=True),
    to("station_id", "station", nullable=True),
    text("filed_at"),
)
filing_known = table("filing_known", owned("filing_id", "filing"), owned("judgement_id", "judgement"))
shot_identity = table("shot_identity", owned("shot_id", "shot"), text("frames", nullable=True), whole("place"))
judging = table(
    "judging",
    key(),
    to("filing_id", "filing"),
    to("limits_id", "limits_revision", nullable=True),
    text("judged_at", nullable=True),
    text("part_digest", nullable=True),
    text("station_digest", nullable=True),
    text("limits_digest", nullable=True),
    text("proof"),
    whole("stood"),
    whole("changed"),
    text("result_path", nullable=True),
    text("result_digest", nullable=True),
    text("filed_at"),
)
choice = table(
    "choice",
    key(),
    text("kind"),
    to("tray_id", "tray"),
    to("shot_id", "shot", nullable=True),
    text("tray_before"),
    text("lot_before", nullable=True),
    text("tray"),
    text("lot", nullable=True),
    text("given_by"),
    text("identity"),
    text("why"),
    text("given_at"),
)
doubt = table("doubt", key(), text("kind"), to("tray_id", "tray"), text("found_at"))
doubt_settled = table("doubt_settled", owned("doubt_id", "doubt"), text("given_by"), text("why"), text("given_at"))
tray_finding = table(
    "tray_finding",
    owned("filing_id", "filing"),
    Column("place", BigInteger, primary_key=True),
    text("kind"),
    real("x_px"),
    real("y_px"),
    text("detail"),
)
picture = table(
    "picture",
    key(),
    to("shot_id", "shot"),
    text("path"),
    text("kind"),
    text("light", nullable=True),
    real("azimuth_deg"),
    whole("piece", nullable=True),
    text("filed_at"),
)
piece = table("piece", key(), to("tray_id", "tray"), whole("piece"))
judgement = table(
    "judgement",
    key(),
    to("piece_id", "piece"),
    to("filing_id", "filing"),
    text("verdict"),
    text("fault", nullable=True),
    real("x_px"),
    real("y_px"),
    real("angle_deg"),
    real("fit_rms_mm"),
    text("digest"),
)
standing_tray = table(
    "standing_tray",
    owned("tray_id", "tray"),
    to("judging_id", "judging"),
    text("part"),
    text("taken_at", nullable=True),
    whole("pieces"),
    whole("review"),
    whole("reject"),
)
standing_piece = table("standing_piece", owned("piece_id", "piece"), to("judgement_id", "judgement"))
lot_sum = table(
    "lot_sum",
    owned("lot_id", "lot"),
    Column("part", Text, primary_key=True),
    whole("trays"),
    whole("pieces"),
    whole("review"),
    whole("reject"),
    text("first_taken_at", nullable=True),
)
measure = table(
    "measure",
    owned("judgement_id", "judgement"),
    Column("measure", Text, primary_key=True),
    Column("zone", Text, primary_key=True),
    real("value"),
    real("uncertainty"),
)
reason = table(
    "reason",
    owned("judgement_id", "judgement"),
    Column("place", BigInteger, primary_key=True),
    text("measure"),
    text("zone", nullable=True),
    real("value"),
    real("uncertainty"),
    real("lower"),
    real("upper"),
    text("class"),
    text("outcome"),
    real("conformance"),
)
finding_list = table("finding_list", owned("judgement_id", "judgement"), body())
profile = table("profile", owned("judgement_id", "judgement"), body())
blind_round = table(
    "blind_round", key(), text("name"), whole("seed"), whole("rounds"), text("made_by"), text("made_at")
)
blind_piece = table(
    "blind_piece",
    owned("blind_id", "blind_round"),
    Column("place", BigInteger, primary_key=True),
    to("piece_id", "piece"),
    to("judgement_id", "judgement"),
    text("stratum", nullable=True),
)
blind_stratum = table(
    "blind_stratum",
    owned("blind_id", "blind_round"),
    Column("stratum", Text, primary_key=True),
    Column("lot", Text, primary_key=True),
    Column("part", Text, primary_key=True),
    whole("size"),
)
verdict = table(
    "verdict",
    key(),
    text("uid"),
    to("piece_id", "piece"),
    to("judgement_id", "judgement", nullable=True),
    text("inspector"),
    text("identity"),
    whole("round"),
    text("verdict"),
    text("defects"),
    text("note"),
    text("given_at"),
    text("filed_at"),
    to("replaces", "verdict", nullable=True),
    to("blind_id", "blind_round", nullable=True),
    to("seen_id", "verdict", nullable=True),
)
bench = table(
    "bench",
    owned("piece_id", "piece"),
    to("judgement_id", "judgement"),
    whole("waiting"),
    real("badness", nullable=False),
    text("class"),
    text("verdict"),
    text("part"),
    text("lot"),
    text("die"),
    text("taken_at"),
    text("holder"),
    text("holder_name"),
    real("held_until", nullable=False),
)
finding_label = table(
    "finding_label",
    key(),
    text("uid"),
    to("judgement_id", "judgement"),
    whole("finding"),
    text("kind"),
    real("x_mm", nullable=False),
    real("y_mm", nullable=False),
    real("probability", nullable=False),
    text("label"),
    text("shown_because"),
    real("share", nullable=False),
    text("inspector"),
    text("identity"),
    text("given_at"),
    text("filed_at"),
)
station_check = table(
    "station_check",
    key(),
    text("station"),
    text("digest"),
    text("outcome"),
    body(),
    text("checked_at"),
    text("filed_at"),
)
challenge = table(
    "challenge",
    key(),
    text("station"),
    text("digest"),
    text("outcome"),
    body(),
    text("challenged_at"),
    text("filed_at"),
)
lot_decision = table(
    "lot_decision",
    key(),
    text("uid"),
    to("lot_id", "lot"),
    text("part"),
    text("decision"),
    text("given_by"),
    text("identity"),
    text("why"),
    body(),
    text("given_at"),
)
decided_judging = table("decided_judging", owned("decision_id", "lot_decision"), owned("judging_id", "judging"))
chain_link = table("chain_link", key(), text("kind"), whole("row_id"), text("digest"), text("hash"))
kept_file = table("kept_file", key(), text("path"), text("digest"), whole("bytes"), text("filed_at"))
forgotten = table(
    "forgotten", key(), text("path"), text("digest"), text("rule"), text("given_by"), text("identity"), text("given_at")
)
set_aside = table("set_aside", key(), text("folder"), text("digest"), text("why"), text("filed_at"))
watched = table("watched", key(), text("folder"), text("digest"), text("tray"), text("filed_at"))
line_message = table(
    "line_message", key(), to("judging_id", "judging"), text("station"), whole("sequence"), body(), text("filed_at")
)
line_sent = table("line_sent", owned("message_id", "line_message"), text("sent_at"))

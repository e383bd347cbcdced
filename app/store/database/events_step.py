"""The step after which every judging is an event, a tray belongs to its lot, and a verdict to what its giver had seen.

Old rows are all kept. A name that trays of several lots bore becomes a tray of each lot; where the same shot was filed
under two lots, that is left as it stood. Both, shots that may be retakes, and shots judged more than once are listed in
`doubt` for a person to settle.
"""

from app.store.database.dialects import guarded, statements, unguarded

_TOUCHED = ("shot", "judgement", "verdict", "blind_piece")
_KEPT = (
    "judging",
    "filing_known",
    "shot_identity",
    "choice",
    "doubt",
    "doubt_settled",
    "decided_judging",
    "line_message",
)

# SQLite can't drop a rule of uniqueness: the table is made anew, its rows kept aside meanwhile.
_TRAY = {
    "sqlite": """
PRAGMA defer_foreign_keys = ON;
CREATE TABLE tray_aside (id INTEGER, tray TEXT);
INSERT INTO tray_aside SELECT id, tray FROM tray;
DROP TABLE tray;
CREATE TABLE tray (id {id}, tray TEXT NOT NULL, lot_id {int} REFERENCES lot (id)) {table};
INSERT INTO tray (id, tray) SELECT id, tray FROM tray_aside;
DROP TABLE tray_aside
""",
    "postgresql": """
ALTER TABLE tray DROP CONSTRAINT tray_tray_key;
ALTER TABLE tray ADD COLUMN lot_id BIGINT REFERENCES lot (id)
""",
}

# A shot filed once more with the same station and time under another lot, or without one, is the same shot.
_TWIN = """
    SELECT 1 FROM shot AS twin WHERE twin.tray_id = shot.tray_id AND twin.station = shot.station
    AND COALESCE(twin.lot_id, 0) <> COALESCE(shot.lot_id, 0)
    AND (twin.taken_at = shot.taken_at
        OR (COALESCE(twin.taken_at, shot.taken_at) IS NULL AND (twin.lot_id IS NULL OR shot.lot_id IS NULL)))
"""

_LOTS = f"""
UPDATE tray SET lot_id = (
    SELECT shot.lot_id FROM filing JOIN shot ON shot.id = filing.shot_id
    WHERE shot.tray_id = tray.id AND shot.lot_id IS NOT NULL ORDER BY filing.id DESC LIMIT 1);
CREATE TABLE doubt (
    id {{id}}, kind TEXT NOT NULL CHECK (kind IN ('split', 'claimed', 'retaken', 'again')),
    tray_id {{int}} NOT NULL REFERENCES tray (id), found_at TEXT NOT NULL) {{table}};
CREATE TABLE doubt_settled (
    doubt_id {{int}} PRIMARY KEY REFERENCES doubt (id), given_by TEXT NOT NULL, why TEXT NOT NULL,
    given_at TEXT NOT NULL) {{keyed}};
INSERT INTO doubt (kind, tray_id, found_at)
    SELECT DISTINCT 'claimed', shot.tray_id, {{moment}} FROM shot WHERE EXISTS ({_TWIN}) ORDER BY shot.tray_id;
INSERT INTO tray (tray, lot_id)
    SELECT DISTINCT tray.tray, shot.lot_id FROM shot JOIN tray ON tray.id = shot.tray_id
    WHERE COALESCE(shot.lot_id, 0) <> COALESCE(tray.lot_id, 0) AND NOT EXISTS ({_TWIN});
CREATE UNIQUE INDEX tray_once ON tray (tray, COALESCE(lot_id, 0));
CREATE INDEX tray_by_lot ON tray (lot_id);
INSERT INTO doubt (kind, tray_id, found_at)
    SELECT 'split', one.id, {{moment}} FROM tray AS one
    WHERE EXISTS (SELECT 1 FROM tray AS other WHERE other.tray = one.tray AND other.id <> one.id) ORDER BY one.id;
UPDATE shot SET tray_id = (
        SELECT own.id FROM tray AS old JOIN tray AS own ON own.tray = old.tray
        WHERE old.id = shot.tray_id AND COALESCE(own.lot_id, 0) = COALESCE(shot.lot_id, 0))
    WHERE EXISTS (
        SELECT 1 FROM tray AS old JOIN tray AS own ON own.tray = old.tray
        WHERE old.id = shot.tray_id AND COALESCE(own.lot_id, 0) = COALESCE(shot.lot_id, 0) AND own.id <> old.id);
INSERT INTO piece (tray_id, piece)
    SELECT DISTINCT shot.tray_id, piece.piece FROM judgement
    JOIN filing ON filing.id = judgement.filing_id JOIN shot ON shot.id = filing.shot_id
    JOIN piece ON piece.id = judgement.piece_id WHERE piece.tray_id <> shot.tray_id;
UPDATE judgement SET piece_id = (
        SELECT own.id FROM filing JOIN shot ON shot.id = filing.shot_id
        JOIN piece AS old ON old.id = judgement.piece_id
        JOIN piece AS own ON own.tray_id = shot.tray_id AND own.piece = old.piece
        WHERE filing.id = judgement.filing_id)
    WHERE EXISTS (
        SELECT 1 FROM filing JOIN shot ON shot.id = filing.shot_id JOIN piece AS old ON old.id = judgement.piece_id
        WHERE filing.id = judgement.filing_id AND old.tray_id <> shot.tray_id);
UPDATE verdict SET piece_id = (SELECT piece_id FROM judgement WHERE judgement.id = verdict.judgement_id)
    WHERE EXISTS (
        SELECT 1 FROM judgement
        WHERE judgement.id = verdict.judgement_id AND judgement.piece_id <> verdict.piece_id);
UPDATE blind_piece SET piece_id = (SELECT piece_id FROM judgement WHERE judgement.id = blind_piece.judgement_id)
"""

# Verdicts of old that name no judgement came from tables: given on what was filed until then. Each had been taken to
# know of all before it.
_VERDICTS = """
ALTER TABLE verdict ADD COLUMN seen_id {int} REFERENCES verdict (id);
UPDATE verdict SET judgement_id = (
        SELECT MAX(judgement.id) FROM judgement JOIN filing ON filing.id = judgement.filing_id
        WHERE judgement.piece_id = verdict.piece_id AND filing.filed_at <= verdict.filed_at)
    WHERE judgement_id IS NULL;
UPDATE verdict SET seen_id = (
    SELECT MAX(older.id) FROM verdict AS older
    WHERE older.piece_id = verdict.piece_id AND older.id < verdict.id AND older.blind_id IS NULL)
    WHERE blind_id IS NULL
"""

_EVENTS = """
CREATE TABLE judging (
    id {id}, filing_id {int} NOT NULL REFERENCES filing (id), limits_id {int} REFERENCES limits_revision (id),
    judged_at TEXT, part_digest TEXT, station_digest TEXT, limits_digest TEXT,
    proof TEXT NOT NULL CHECK (proof IN ('proven', 'unproven', 'trial')),
    stood {int} NOT NULL CHECK (stood IN (0, 1)), changed {int} NOT NULL CHECK (changed IN (0, 1)),
    result_path TEXT, result_digest TEXT, filed_at TEXT NOT NULL) {table};
CREATE INDEX judging_by_filing ON judging (filing_id);
INSERT INTO judging (filing_id, proof, stood, changed, filed_at)
    SELECT id, 'unproven', 1, 1, filed_at FROM filing ORDER BY id;
CREATE TABLE filing_known (
    filing_id {int} NOT NULL REFERENCES filing (id), judgement_id {int} NOT NULL REFERENCES judgement (id),
    PRIMARY KEY (filing_id, judgement_id)) {keyed};
INSERT INTO filing_known (filing_id, judgement_id)
    SELECT filing.id, MAX(judgement.id) FROM filing
    JOIN filing AS before ON before.shot_id = filing.shot_id AND before.id < filing.id
    JOIN judgement ON judgement.filing_id = before.id
    WHERE NOT EXISTS (
        SELECT 1 FROM judgement AS own WHERE own.filing_id = filing.id AND own.piece_id = judgement.piece_id)
    GROUP BY filing.id, judgement.piece_id;
CREATE TABLE shot_identity (
    shot_id {int} PRIMARY KEY REFERENCES shot (id), frames TEXT, place {int} NOT NULL) {keyed};
CREATE INDEX shot_identity_by_frames ON shot_identity (frames);
INSERT INTO shot_identity (shot_id, place) SELECT id, id FROM shot;
CREATE TABLE choice (
    id {id}, kind TEXT NOT NULL CHECK (kind IN ('move', 'retake', 'stand')),
    tray_id {int} NOT NULL REFERENCES tray (id), shot_id {int} REFERENCES shot (id), tray_before TEXT NOT NULL,
    lot_before TEXT, tray TEXT NOT NULL, lot TEXT, given_by TEXT NOT NULL, identity TEXT NOT NULL, why TEXT NOT NULL,
    given_at TEXT NOT NULL) {table};
CREATE INDEX choice_by_tray ON choice (tray_id);
CREATE TABLE standing_tray (
    tray_id {int} PRIMARY KEY REFERENCES tray (id), judging_id {int} NOT NULL REFERENCES judging (id)) {keyed};
INSERT INTO standing_tray (tray_id, judging_id)
    SELECT shot.tray_id, MAX(judging.id) FROM judging JOIN filing ON filing.id = judging.filing_id
    JOIN shot ON shot.id = filing.shot_id GROUP BY shot.tray_id;
CREATE TABLE standing_piece (
    piece_id {int} PRIMARY KEY REFERENCES piece (id),
    judgement_id {int} NOT NULL UNIQUE REFERENCES judgement (id)) {keyed};
INSERT INTO standing_piece (piece_id, judgement_id) SELECT piece_id, MAX(id) FROM judgement GROUP BY piece_id;
INSERT INTO doubt (kind, tray_id, found_at)
    SELECT 'retaken', tray_id, {moment} FROM shot GROUP BY tray_id
    HAVING COUNT(DISTINCT COALESCE(taken_at, '') || ' ' || station) > 1 ORDER BY tray_id;
INSERT INTO doubt (kind, tray_id, found_at)
    SELECT DISTINCT 'again', shot.tray_id, {moment} FROM shot JOIN filing ON filing.shot_id = shot.id
    GROUP BY shot.tray_id, shot.id HAVING COUNT(*) > 1 ORDER BY shot.tray_id;
CREATE TABLE decided_judging (
    decision_id {int} NOT NULL REFERENCES lot_decision (id), judging_id {int} NOT NULL REFERENCES judging (id),
    PRIMARY KEY (decision_id, judging_id)) {keyed};
INSERT INTO decided_judging (decision_id, judging_id)
    SELECT decided_filing.decision_id, judging.id FROM decided_filing
    JOIN judging ON judging.filing_id = decided_filing.filing_id;
DROP TABLE decided_filing
"""

_LINE = {
    "sqlite": """
CREATE TABLE message_aside (id INTEGER, judging_id INTEGER, station TEXT, sequence INTEGER, body BLOB, filed_at TEXT);
INSERT INTO message_aside SELECT line_message.id, judging.id, line_message.station, line_message.sequence,
    line_message.body, line_message.filed_at FROM line_message
    JOIN judging ON judging.filing_id = line_message.filing_id;
DROP TABLE line_message;
CREATE TABLE line_message (
    id {id}, judging_id {int} NOT NULL UNIQUE REFERENCES judging (id), station TEXT NOT NULL, sequence {int} NOT NULL,
    body {blob} NOT NULL, filed_at TEXT NOT NULL, UNIQUE (station, sequence)) {table};
INSERT INTO line_message SELECT id, judging_id, station, sequence, body, filed_at FROM message_aside;
DROP TABLE message_aside
""",
    "postgresql": """
DROP TRIGGER line_message_append_only ON line_message;
DROP TRIGGER line_message_no_truncate ON line_message;
ALTER TABLE line_message ADD COLUMN judging_id BIGINT UNIQUE REFERENCES judging (id);
UPDATE line_message SET judging_id = (SELECT id FROM judging WHERE judging.filing_id = line_message.filing_id);
ALTER TABLE line_message ALTER COLUMN judging_id SET NOT NULL;
ALTER TABLE line_message DROP COLUMN filing_id
""",
}


def events(dialect: str) -> list[str]:
    """Every judging an event; trays by lot; verdicts with what their givers had seen."""
    return [
        *unguarded(dialect, _TOUCHED),
        *statements(_TRAY[dialect], dialect),
        *statements(_LOTS, dialect),
        *statements(_VERDICTS, dialect),
        *statements(_EVENTS, dialect),
        *statements(_LINE[dialect], dialect),
        *guarded(dialect, (*_TOUCHED, *_KEPT)),
    ]

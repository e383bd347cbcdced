"""The first step: the tables that the store began with, in the SQL of its day."""

from app.store.database.dialects import guarded, statements

_FIRST = """
CREATE TABLE part (
    id {id}, part TEXT NOT NULL, digest TEXT NOT NULL, body {blob} NOT NULL, filed_at TEXT NOT NULL,
    UNIQUE (part, digest)) {table};
CREATE TABLE station (
    id {id}, station TEXT NOT NULL, digest TEXT NOT NULL, body {blob} NOT NULL, filed_at TEXT NOT NULL,
    UNIQUE (station, digest)) {table};
CREATE TABLE limits_revision (
    id {id}, part TEXT NOT NULL, revision {int} NOT NULL, status TEXT NOT NULL CHECK (status IN ('draft', 'released')),
    digest TEXT NOT NULL, body {blob} NOT NULL, filed_at TEXT NOT NULL,
    UNIQUE (part, revision, digest)) {table};
CREATE TABLE limits_release (
    id {id}, limits_id {int} NOT NULL UNIQUE REFERENCES limits_revision (id), released_by TEXT NOT NULL,
    why TEXT NOT NULL, released_at TEXT NOT NULL) {table};
CREATE TABLE lot (id {id}, lot TEXT NOT NULL UNIQUE, filed_at TEXT NOT NULL) {table};
CREATE TABLE lot_value (
    id {id}, lot_id {int} NOT NULL REFERENCES lot (id), name TEXT NOT NULL, number {real}, words TEXT,
    given_by TEXT NOT NULL, given_at TEXT NOT NULL) {table};
CREATE INDEX lot_value_by_lot ON lot_value (lot_id, name);
CREATE TABLE tray (id {id}, tray TEXT NOT NULL UNIQUE) {table};
CREATE TABLE shot (
    id {id}, tray_id {int} NOT NULL REFERENCES tray (id), digest TEXT NOT NULL, part TEXT NOT NULL,
    station TEXT NOT NULL, lot_id {int} REFERENCES lot (id), taken_at TEXT, filed_at TEXT NOT NULL,
    UNIQUE (tray_id, digest)) {table};
CREATE INDEX shot_by_lot ON shot (lot_id);
CREATE TABLE process_value (
    shot_id {int} NOT NULL REFERENCES shot (id), name TEXT NOT NULL, number {real}, words TEXT,
    PRIMARY KEY (shot_id, name)) {keyed};
CREATE TABLE filing (
    id {id}, shot_id {int} NOT NULL REFERENCES shot (id), digest TEXT NOT NULL, limits_revision {int} NOT NULL,
    software TEXT NOT NULL, part_id {int} REFERENCES part (id), station_id {int} REFERENCES station (id),
    filed_at TEXT NOT NULL, UNIQUE (shot_id, digest)) {table};
CREATE TABLE tray_finding (
    filing_id {int} NOT NULL REFERENCES filing (id), place {int} NOT NULL, kind TEXT NOT NULL, x_px {real},
    y_px {real}, detail TEXT NOT NULL, PRIMARY KEY (filing_id, place)) {keyed};
CREATE TABLE picture (
    id {id}, shot_id {int} NOT NULL REFERENCES shot (id), path TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('frame', 'tray', 'piece')), light TEXT, azimuth_deg {real}, piece {int},
    filed_at TEXT NOT NULL, UNIQUE (shot_id, path)) {table};
CREATE TABLE piece (
    id {id}, tray_id {int} NOT NULL REFERENCES tray (id), piece {int} NOT NULL, UNIQUE (tray_id, piece)) {table};
CREATE TABLE judgement (
    id {id}, piece_id {int} NOT NULL REFERENCES piece (id), filing_id {int} NOT NULL REFERENCES filing (id),
    verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'review', 'reject')), fault TEXT,
    x_px {real}, y_px {real}, angle_deg {real}, fit_rms_mm {real},
    digest TEXT NOT NULL, UNIQUE (piece_id, digest)) {table};
CREATE INDEX judgement_by_filing ON judgement (filing_id);
CREATE TABLE measure (
    judgement_id {int} NOT NULL REFERENCES judgement (id), measure TEXT NOT NULL, zone TEXT NOT NULL,
    value {real}, uncertainty {real}, PRIMARY KEY (judgement_id, measure, zone)) {keyed};
CREATE TABLE reason (
    judgement_id {int} NOT NULL REFERENCES judgement (id), place {int} NOT NULL, measure TEXT NOT NULL,
    zone TEXT, value {real}, uncertainty {real}, lower {real}, upper {real},
    class TEXT NOT NULL CHECK (class IN ('critical', 'major', 'minor')),
    outcome TEXT NOT NULL CHECK (outcome IN ('review', 'reject')), PRIMARY KEY (judgement_id, place)) {keyed};
CREATE TABLE finding_list (judgement_id {int} PRIMARY KEY REFERENCES judgement (id), body {blob} NOT NULL) {keyed};
CREATE TABLE profile (judgement_id {int} PRIMARY KEY REFERENCES judgement (id), body {blob} NOT NULL) {keyed};
CREATE TABLE verdict (
    id {id}, uid TEXT NOT NULL UNIQUE, piece_id {int} NOT NULL REFERENCES piece (id),
    judgement_id {int} REFERENCES judgement (id), inspector TEXT NOT NULL,
    identity TEXT NOT NULL CHECK (identity IN ('declared', 'login', 'imported')), round {int} NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('accept', 'reject', 'withdrawn')), defects TEXT NOT NULL,
    note TEXT NOT NULL, given_at TEXT NOT NULL, filed_at TEXT NOT NULL,
    replaces {int} UNIQUE REFERENCES verdict (id)) {table};
CREATE INDEX verdict_by_piece ON verdict (piece_id, inspector);
CREATE INDEX verdict_by_time ON verdict (filed_at);
CREATE TABLE bench (
    piece_id {int} PRIMARY KEY REFERENCES piece (id), judgement_id {int} NOT NULL REFERENCES judgement (id),
    waiting {int} NOT NULL, badness {real} NOT NULL, class TEXT NOT NULL, verdict TEXT NOT NULL,
    part TEXT NOT NULL, lot TEXT NOT NULL, die TEXT NOT NULL, taken_at TEXT NOT NULL,
    holder TEXT NOT NULL, holder_name TEXT NOT NULL, held_until {real} NOT NULL) {keyed};
CREATE INDEX bench_worst ON bench (waiting, badness, piece_id);
CREATE INDEX bench_oldest ON bench (waiting, taken_at, piece_id)
"""

_FIRST_KEPT = (
    "part",
    "station",
    "limits_revision",
    "limits_release",
    "lot_value",
    "shot",
    "process_value",
    "filing",
    "tray_finding",
    "judgement",
    "measure",
    "reason",
    "finding_list",
    "profile",
    "verdict",
)


def first(dialect: str) -> list[str]:
    """Its statements, the triggers that keep what was filed among them."""
    function = (
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ' is append-only'; END $$"
    )
    return [
        *statements(_FIRST, dialect),
        *([function] if dialect == "postgresql" else []),
        *guarded(dialect, _FIRST_KEPT),
    ]

"""The steps that make the store's tables, each in the SQL of its day and never changed after a release.

What differs between SQLite and PostgreSQL stands in `{braces}`, see `dialects`.
"""

from app.store.database.dialects import guarded, statements
from app.store.database.events_step import events
from app.store.database.first_step import first
from app.store.database.growth_step import growth

_BLIND = """
CREATE TABLE blind_round (
    id {id}, name TEXT NOT NULL UNIQUE, seed {int} NOT NULL, rounds {int} NOT NULL, made_by TEXT NOT NULL,
    made_at TEXT NOT NULL) {table};
CREATE TABLE blind_piece (
    blind_id {int} NOT NULL REFERENCES blind_round (id), place {int} NOT NULL,
    piece_id {int} NOT NULL REFERENCES piece (id), judgement_id {int} NOT NULL REFERENCES judgement (id),
    PRIMARY KEY (blind_id, place)) {keyed};
ALTER TABLE verdict ADD COLUMN blind_id {int} REFERENCES blind_round (id);
CREATE INDEX verdict_by_blind ON verdict (blind_id, inspector);
CREATE UNIQUE INDEX verdict_once ON verdict (piece_id, inspector, round, COALESCE(blind_id, 0)) WHERE replaces IS NULL
"""

_CHECKS = """
CREATE TABLE station_check (
    id {id}, station TEXT NOT NULL, digest TEXT NOT NULL, outcome TEXT NOT NULL CHECK (outcome IN ('pass', 'stop')),
    body {blob} NOT NULL, checked_at TEXT NOT NULL, filed_at TEXT NOT NULL, UNIQUE (station, digest)) {table};
CREATE INDEX station_check_by_time ON station_check (station, checked_at)
"""

_CHALLENGES = """
CREATE TABLE challenge (
    id {id}, station TEXT NOT NULL, digest TEXT NOT NULL, outcome TEXT NOT NULL CHECK (outcome IN ('pass', 'stop')),
    body {blob} NOT NULL, challenged_at TEXT NOT NULL, filed_at TEXT NOT NULL, UNIQUE (station, digest)) {table};
CREATE INDEX challenge_by_station ON challenge (station)
"""

_DECISIONS = """
CREATE TABLE lot_decision (
    id {id}, uid TEXT NOT NULL UNIQUE, lot_id {int} NOT NULL REFERENCES lot (id),
    decision TEXT NOT NULL CHECK (decision IN ('release', 'hold')), given_by TEXT NOT NULL,
    identity TEXT NOT NULL CHECK (identity IN ('declared', 'login')), why TEXT NOT NULL, body {blob} NOT NULL,
    given_at TEXT NOT NULL) {table};
CREATE INDEX lot_decision_by_lot ON lot_decision (lot_id)
"""

_LINE = """
CREATE TABLE set_aside (
    id {id}, folder TEXT NOT NULL, digest TEXT NOT NULL, why TEXT NOT NULL, filed_at TEXT NOT NULL,
    UNIQUE (folder, digest)) {table};
CREATE TABLE watched (
    id {id}, folder TEXT NOT NULL, digest TEXT NOT NULL, tray TEXT NOT NULL, filed_at TEXT NOT NULL,
    UNIQUE (folder, digest)) {table};
CREATE INDEX watched_by_tray ON watched (tray);
CREATE TABLE line_message (
    id {id}, filing_id {int} NOT NULL UNIQUE REFERENCES filing (id), station TEXT NOT NULL, sequence {int} NOT NULL,
    body {blob} NOT NULL, filed_at TEXT NOT NULL, UNIQUE (station, sequence)) {table};
CREATE TABLE line_sent (
    message_id {int} PRIMARY KEY REFERENCES line_message (id), sent_at TEXT NOT NULL) {keyed}
"""

_DECISIONS_BY_PART = """
CREATE TABLE lot_decision_by_part (
    id {id}, uid TEXT NOT NULL UNIQUE, lot_id {int} NOT NULL REFERENCES lot (id), part TEXT NOT NULL,
    decision TEXT NOT NULL CHECK (decision IN ('release', 'hold', 'reduced', 'normal', 'tightened')),
    given_by TEXT NOT NULL, identity TEXT NOT NULL CHECK (identity IN ('declared', 'login')), why TEXT NOT NULL,
    body {blob} NOT NULL, given_at TEXT NOT NULL) {table};
INSERT INTO lot_decision_by_part (uid, lot_id, part, decision, given_by, identity, why, body, given_at)
    SELECT CASE WHEN parts.part = parts.first THEN old.uid ELSE old.uid || ' ' || parts.part END, old.lot_id,
        parts.part, old.decision, old.given_by, old.identity, old.why, old.body, old.given_at
    FROM lot_decision AS old JOIN (
        SELECT DISTINCT lot_id, part, MIN(part) OVER (PARTITION BY lot_id) AS first FROM shot) AS parts
        ON parts.lot_id = old.lot_id
    ORDER BY old.id, parts.part;
DROP TABLE lot_decision;
ALTER TABLE lot_decision_by_part RENAME TO lot_decision;
CREATE INDEX lot_decision_by_lot ON lot_decision (lot_id, part);
CREATE TABLE decided_filing (
    decision_id {int} NOT NULL REFERENCES lot_decision (id), filing_id {int} NOT NULL REFERENCES filing (id),
    PRIMARY KEY (decision_id, filing_id)) {keyed};
INSERT INTO decided_filing (decision_id, filing_id)
    SELECT lot_decision.id, filing.id FROM lot_decision
    JOIN shot ON shot.lot_id = lot_decision.lot_id AND shot.part = lot_decision.part
    JOIN filing ON filing.shot_id = shot.id AND filing.filed_at <= lot_decision.given_at
"""

_LIMITS_IN_FORCE = """
CREATE TABLE limits_act (
    id {id}, limits_id {int} NOT NULL REFERENCES limits_revision (id), given_by TEXT NOT NULL,
    identity TEXT NOT NULL CHECK (identity IN ('declared', 'account', 'login', 'before roles')), why TEXT NOT NULL,
    given_at TEXT NOT NULL) {table};
CREATE INDEX limits_act_by_limits ON limits_act (limits_id);
INSERT INTO limits_act (limits_id, given_by, identity, why, given_at)
    SELECT limits_revision.id, COALESCE(released_by, ''), 'before roles', COALESCE(why, 'released before roles'),
        COALESCE(released_at, filed_at)
    FROM limits_revision LEFT JOIN limits_release ON limits_release.limits_id = limits_revision.id
    WHERE limits_revision.status = 'released' ORDER BY COALESCE(released_at, filed_at), limits_revision.id;
DROP TABLE limits_release;
CREATE TABLE lot_decision_known (
    id {id}, uid TEXT NOT NULL UNIQUE, lot_id {int} NOT NULL REFERENCES lot (id), part TEXT NOT NULL,
    decision TEXT NOT NULL CHECK (decision IN ('release', 'hold', 'reduced', 'normal', 'tightened')),
    given_by TEXT NOT NULL, identity TEXT NOT NULL CHECK (identity IN ('declared', 'account', 'login')),
    why TEXT NOT NULL, body {blob} NOT NULL, given_at TEXT NOT NULL) {table};
INSERT INTO lot_decision_known (uid, lot_id, part, decision, given_by, identity, why, body, given_at)
    SELECT uid, lot_id, part, decision, given_by, identity, why, body, given_at FROM lot_decision ORDER BY id;
CREATE TABLE decided_filing_known (
    decision_id {int} NOT NULL REFERENCES lot_decision_known (id), filing_id {int} NOT NULL REFERENCES filing (id),
    PRIMARY KEY (decision_id, filing_id)) {keyed};
INSERT INTO decided_filing_known (decision_id, filing_id)
    SELECT lot_decision_known.id, decided_filing.filing_id FROM decided_filing
    JOIN lot_decision ON lot_decision.id = decided_filing.decision_id
    JOIN lot_decision_known ON lot_decision_known.uid = lot_decision.uid;
DROP TABLE decided_filing;
DROP TABLE lot_decision;
ALTER TABLE lot_decision_known RENAME TO lot_decision;
ALTER TABLE decided_filing_known RENAME TO decided_filing;
CREATE INDEX lot_decision_by_lot ON lot_decision (lot_id, part)
"""

_EVIDENCE = """
CREATE TABLE chain_link (
    id {id}, kind TEXT NOT NULL, row_id {int} NOT NULL, digest TEXT NOT NULL, hash TEXT NOT NULL,
    UNIQUE (kind, row_id)) {table};
CREATE TABLE kept_file (
    id {id}, path TEXT NOT NULL, digest TEXT NOT NULL, bytes {int} NOT NULL, filed_at TEXT NOT NULL) {table};
CREATE INDEX kept_file_by_path ON kept_file (path, id);
CREATE TABLE forgotten (
    id {id}, path TEXT NOT NULL UNIQUE, digest TEXT NOT NULL, rule TEXT NOT NULL, given_by TEXT NOT NULL,
    identity TEXT NOT NULL, given_at TEXT NOT NULL) {table}
"""

_DESIGNS = """
ALTER TABLE blind_piece ADD COLUMN stratum TEXT;
CREATE TABLE blind_stratum (
    blind_id {int} NOT NULL REFERENCES blind_round (id), stratum TEXT NOT NULL, lot TEXT NOT NULL, part TEXT NOT NULL,
    size {int} NOT NULL, PRIMARY KEY (blind_id, stratum, lot, part)) {keyed}
"""

_LABELS = """
CREATE TABLE finding_label (
    id {id}, uid TEXT NOT NULL UNIQUE, judgement_id {int} NOT NULL REFERENCES judgement (id), finding {int} NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('scratch', 'pit', 'speck')), x_mm {real} NOT NULL, y_mm {real} NOT NULL,
    probability {real} NOT NULL, label TEXT NOT NULL CHECK (label IN ('mark', 'none', 'withdrawn')),
    shown_because TEXT NOT NULL CHECK (shown_because IN ('sure', 'sample', 'again', 'blind')), share {real} NOT NULL,
    inspector TEXT NOT NULL, identity TEXT NOT NULL CHECK (identity IN ('declared', 'login')),
    given_at TEXT NOT NULL, filed_at TEXT NOT NULL) {table};
CREATE INDEX finding_label_by_finding ON finding_label (judgement_id, finding, inspector);
CREATE INDEX finding_label_by_person ON finding_label (inspector)
"""


def _blind(dialect: str) -> list[str]:
    return [*statements(_BLIND, dialect), *guarded(dialect, ("blind_round", "blind_piece"))]


def _one_release(_dialect: str) -> list[str]:
    """A released revision of a part is one set, also when many stations file it at once."""
    return ["CREATE UNIQUE INDEX limits_released_once ON limits_revision (part, revision) WHERE status = 'released'"]


def _checks(dialect: str) -> list[str]:
    return [*statements(_CHECKS, dialect), *guarded(dialect, ("station_check",))]


def _challenges(dialect: str) -> list[str]:
    """Challenges of the stations."""
    return [*statements(_CHALLENGES, dialect), *guarded(dialect, ("challenge",))]


def _labels(dialect: str) -> list[str]:
    """What people said of single findings: a mark, or none."""
    return [*statements(_LABELS, dialect), *guarded(dialect, ("finding_label",))]


def _decisions(dialect: str) -> list[str]:
    return [*statements(_DECISIONS, dialect), *guarded(dialect, ("lot_decision",))]


def _line(dialect: str) -> list[str]:
    return [*statements(_LINE, dialect), *guarded(dialect, ("set_aside", "watched", "line_message", "line_sent"))]


def _decisions_by_part(dialect: str) -> list[str]:
    """What was decided on a lot of several parts was decided on each; it was decided by what was filed until then."""
    return [*statements(_DECISIONS_BY_PART, dialect), *guarded(dialect, ("lot_decision", "decided_filing"))]


def _conformances(dialect: str) -> list[str]:
    """A reason says with which chance its limit is kept."""
    return statements("ALTER TABLE reason ADD COLUMN conformance {real}", dialect)


def _designs(dialect: str) -> list[str]:
    """How a blind round was drawn is kept with it; one begun before has no strata."""
    return [*statements(_DESIGNS, dialect), *guarded(dialect, ("blind_stratum",))]


def _limits_in_force(dialect: str) -> list[str]:
    """Which limits are in force is the newest act; who decides on a lot may be known by an account."""
    kept = ("limits_act", "lot_decision", "decided_filing")
    return [*statements(_LIMITS_IN_FORCE, dialect), *guarded(dialect, kept)]


def _evidence(dialect: str) -> list[str]:
    """A link in a chain for each row filed; digests of the files on disk; what was forgotten by rule."""
    return [*statements(_EVIDENCE, dialect), *guarded(dialect, ("chain_link", "kept_file", "forgotten"))]


STEPS = (
    first,
    _blind,
    _one_release,
    _checks,
    _decisions,
    _line,
    _decisions_by_part,
    _conformances,
    _limits_in_force,
    events,
    _evidence,
    _designs,
    growth,
    _challenges,
    _labels,
)

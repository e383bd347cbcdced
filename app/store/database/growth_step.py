"""The step after which a store may grow: sums of what stands kept by tray and lot; a file forgotten by path and digest.

What is made here is derived, but for `forgotten`, which nothing had been written into yet.
"""

from app.store.database.dialects import guarded, statements

_SUMS = """
CREATE TABLE standing_aside (tray_id {int}, judging_id {int});
INSERT INTO standing_aside SELECT tray_id, judging_id FROM standing_tray;
DROP TABLE standing_tray;
CREATE TABLE standing_tray (
    tray_id {int} PRIMARY KEY REFERENCES tray (id), judging_id {int} NOT NULL REFERENCES judging (id),
    part TEXT NOT NULL, taken_at TEXT, pieces {int} NOT NULL, review {int} NOT NULL, reject {int} NOT NULL) {keyed};
INSERT INTO standing_tray (tray_id, judging_id, part, taken_at, pieces, review, reject)
    SELECT aside.tray_id, aside.judging_id, shot.part, shot.taken_at, COUNT(judgement.id),
        COALESCE(SUM(CASE WHEN judgement.verdict = 'review' THEN 1 ELSE 0 END), 0),
        COALESCE(SUM(CASE WHEN judgement.verdict = 'reject' THEN 1 ELSE 0 END), 0)
    FROM standing_aside AS aside JOIN judging ON judging.id = aside.judging_id
    JOIN filing ON filing.id = judging.filing_id JOIN shot ON shot.id = filing.shot_id
    LEFT JOIN piece ON piece.tray_id = aside.tray_id
    LEFT JOIN standing_piece ON standing_piece.piece_id = piece.id
    LEFT JOIN judgement ON judgement.id = standing_piece.judgement_id
    GROUP BY aside.tray_id, aside.judging_id, shot.part, shot.taken_at;
DROP TABLE standing_aside;
CREATE TABLE lot_sum (
    lot_id {int} NOT NULL REFERENCES lot (id), part TEXT NOT NULL, trays {int} NOT NULL, pieces {int} NOT NULL,
    review {int} NOT NULL, reject {int} NOT NULL, first_taken_at TEXT, PRIMARY KEY (lot_id, part)) {keyed};
INSERT INTO lot_sum (lot_id, part, trays, pieces, review, reject, first_taken_at)
    SELECT tray.lot_id, standing_tray.part, COUNT(*), SUM(standing_tray.pieces), SUM(standing_tray.review),
        SUM(standing_tray.reject), MIN(standing_tray.taken_at)
    FROM standing_tray JOIN tray ON tray.id = standing_tray.tray_id
    WHERE tray.lot_id IS NOT NULL GROUP BY tray.lot_id, standing_tray.part;
CREATE INDEX shot_by_station ON shot (station, taken_at);
DROP TABLE forgotten;
CREATE TABLE forgotten (
    id {id}, path TEXT NOT NULL, digest TEXT NOT NULL, rule TEXT NOT NULL, given_by TEXT NOT NULL,
    identity TEXT NOT NULL, given_at TEXT NOT NULL, UNIQUE (path, digest)) {table}
"""


def growth(dialect: str) -> list[str]:
    """Sums that are kept, so that no list of lots reads all judgements; files forgotten by what they held."""
    return [*statements(_SUMS, dialect), *guarded(dialect, ("forgotten",))]

"""How much was filed lately, for a forecast of the disk."""

from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import func, select

from app.store.database import schema
from app.store.database.connection import Store, moment, now


@dataclass(frozen=True, slots=True)
class FiledLately:
    """Bytes of files filed within some days, by the folder of the works they lie in; of judgings the share of all."""

    days: float
    bytes_by_folder: dict[str, int]
    share_of_judgings: float


def filed_lately(store: Store, at_most_days: float) -> FiledLately:
    """What was filed within the last days, or since the first filing where that is not so long ago.

    Parameters
    ----------
    store
        An open store.
    at_most_days
        How far back.

    Returns
    -------
    FiledLately
        Days that it speaks of, bytes by the first folder of their paths, and the share of all judgings.
    """
    kept, judging = schema.kept_file, schema.judging
    with store.read() as connection:
        first = connection.execute(select(func.min(judging.c.filed_at))).scalar()
        until = moment(now())
        days = at_most_days if first is None else min(at_most_days, (until - moment(first)).total_seconds() / 86400.0)
        since = (until - timedelta(days=days)).isoformat(timespec="milliseconds")
        found: dict[str, int] = {}
        for path, size in connection.execute(select(kept.c.path, kept.c.bytes).where(kept.c.filed_at >= since)):
            folder = path.split("/", 1)[0]
            found[folder] = found.get(folder, 0) + size
        all_of_them = connection.execute(select(func.count()).select_from(judging)).scalar_one()
        lately = select(func.count()).select_from(judging).where(judging.c.filed_at >= since)
        share = connection.execute(lately).scalar_one() / max(all_of_them, 1)
    return FiledLately(days, found, share)

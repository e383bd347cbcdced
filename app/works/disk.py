"""How long the disk of a works will do, at the rate at which it filled lately."""

import shutil
from dataclasses import dataclass

from app.store import Store, filed_lately
from app.works.folder import Works
from app.works.retention import Plan

LATELY_DAYS = 30.0
_A_DAY_AT_LEAST = 1.0  # a rate from less than a day says nothing of the days to come


@dataclass(frozen=True, slots=True)
class Forecast:
    """Bytes free, and bytes a day: frames, results, the store; what the rule lets go now and a day from then on."""

    free: int
    total: int
    days: float
    frames_a_day: float
    results_a_day: float
    store_a_day: float
    due: int
    forgotten_a_day: float

    @property
    def a_day(self) -> float:
        """Bytes a day in all."""
        return self.frames_a_day + self.results_a_day + self.store_a_day

    @property
    def full_in_days(self) -> float | None:
        """Days until the disk is full if nothing is forgotten; None where nothing was filed."""
        return self.free / self.a_day if self.a_day > 0 else None

    @property
    def full_in_days_by_rule(self) -> float | None:
        """The same where the rule is followed day by day, its share of frames going as fast as they come."""
        left = self.a_day - self.forgotten_a_day
        return (self.free + self.due) / left if left > 0 else None


def forecast(store: Store, works: Works, planned: Plan | None) -> Forecast:
    """Look at the disk of a works, and at what was filed on it lately.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works.
    planned
        What its rule lets go; none where it has no rule.

    Returns
    -------
    Forecast
        Bytes, and bytes a day.
    """
    disk = shutil.disk_usage(works.folder)
    lately = filed_lately(store, LATELY_DAYS)
    days = max(lately.days, _A_DAY_AT_LEAST)
    frames = lately.bytes_by_folder.get(works.shots.name, 0) / days
    results = lately.bytes_by_folder.get(works.results.name, 0) / days
    file = works.folder / works.store_address
    size = file.stat().st_size if "://" not in works.store_address else 0
    return Forecast(
        free=disk.free,
        total=disk.total,
        days=lately.days,
        frames_a_day=frames,
        results_a_day=results,
        store_a_day=size * lately.share_of_judgings / days,
        due=0 if planned is None else planned.bytes,
        forgotten_a_day=0.0 if planned is None else planned.coming * frames,
    )

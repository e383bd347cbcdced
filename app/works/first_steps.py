"""What a works still lacks before it judges, in the order in which it is done; read from what lies there."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from app.store import Store, list_lots, revisions
from app.works.folder import Works
from vision.errors import Unusable
from vision.formats import find_shots, is_shot, read_part, read_station

_BEFORE_ALL = ("release", "review")


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that a works needs: whether it is there, what there is or is missing, who or what does it.

    `command`: how it is done without being led; `by_people`: what no machine can do for it.
    """

    name: str
    done: bool
    words: str
    command: str
    by_people: str


def first_steps(works: Works) -> tuple[Step, ...]:
    """Every step from people to a first lot; a file that is there and wrong is not done, and says why.

    Parameters
    ----------
    works
        The works.

    Returns
    -------
    tuple[Step, ...]
        Steps in order, each done or not, with what to do next.
    """
    at = f"--works {works.folder}"
    parts = _checked(works.folder / "parts", "*/part.toml", read_part)
    stations = _checked(works.folder / "stations", "*.toml", read_station)
    names = [path.parent.name for path in parts.good]
    cameras = () if stations.wrong else tuple(works.stations())
    shots = [one for one in find_shots([works.shots], works.results, cameras) if is_shot(one, cameras)]
    with closing(works.open()) as store:
        without = _without_limits(store, names)
        lots = list_lots(store)
    ruled = [name for name in names if name not in without]
    in_force = f"in force for {', '.join(ruled) or 'no part'}"
    missing = [role for role in _BEFORE_ALL if not any(role in one.roles for one in works.people)]
    listed = f"{len(works.people)} listed" if works.people else "nobody is listed"
    return (
        Step(
            "people",
            not missing,
            f"{listed}{f'; nobody has the role {missing[0]}' if missing else ''}",
            f'brightbowl person "R. HALE" --role review --role release {at}',
            "Agree who gives verdicts (review), prepares limits (tune), and releases limits and lots (release).",
        ),
        Step(
            "station",
            bool(stations.good) and not stations.wrong,
            stations.words("stations/NAME.toml"),
            f"brightbowl calibrate TARGET*.png --squares 9x6 --pitch-mm 5 --station ST-1 {at}",
            "Photograph a flat target: first lying on the tray, then eight times more, tilted every way.",
        ),
        Step(
            "part",
            bool(parts.good) and not parts.wrong,
            parts.words("parts/NAME/part.toml"),
            f"brightbowl part DRAWING --part NAME {at}",
            "Look at zones and numbers in part-sheet.svg; change part.toml where they are wrong.",
        ),
        Step(
            "limits",
            bool(ruled) and not without,
            f"{in_force}; none for {', '.join(without)}" if without else in_force,
            "brightbowl limits draft --part PART.toml --general m --out limits-1.toml; then: brightbowl limits release",
            "Agree the limits with whoever answers for the product; a person releases them, by name and reason.",
        ),
        Step(
            "shots",
            bool(shots) or bool(lots),
            f"those of the lots judged so far ({len(lots)}); none lies directly in {works.shots}"
            if lots and not shots
            else f"{len(shots)} in {works.shots}",
            f"brightbowl shot FRAMES {at} --out {works.shots}",
            f"Photograph trays of a first lot and put their folders into {works.shots}.",
        ),
        Step(
            "lot",
            bool(lots),
            f"{len(lots)} judged",
            f"brightbowl inspect {at}",
            f"Look at the pieces that need a person: brightbowl serve {at}",
        ),
    )


def without_limits(works: Works) -> tuple[str, ...]:
    """Parts of a works for which no limits are in force.

    Parameters
    ----------
    works
        The works.

    Returns
    -------
    tuple[str, ...]
        Names in order.
    """
    with closing(works.open()) as store:
        names = [path.parent.name for path in sorted((works.folder / "parts").glob("*/part.toml"))]
        return tuple(_without_limits(store, names))


def _without_limits(store: Store, parts: list[str]) -> list[str]:
    return [part for part in parts if not any(one.in_force for one in revisions(store, part))]


@dataclass(frozen=True, slots=True)
class _Files:
    good: tuple[Path, ...]
    wrong: tuple[str, ...]

    def words(self, where: str) -> str:
        """How many there are, or what is wrong with the first."""
        if self.wrong:
            return self.wrong[0]
        return f"{len(self.good)} there" if self.good else f"no {where} yet"


def _checked(folder: Path, pattern: str, read: Callable[[Path], object]) -> _Files:
    good, wrong = [], []
    for path in sorted(folder.glob(pattern)):
        try:
            read(path)
            good.append(path)
        except Unusable as fault:
            wrong.append(str(fault))
    return _Files(tuple(good), tuple(wrong))

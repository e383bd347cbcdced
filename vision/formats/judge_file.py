"""judge.toml: a judge of marks, as fitted and released."""

import hashlib
from dataclasses import asdict
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import tomlkit
from pydantic import Field, model_validator

from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.formats.bounded import read_text
from vision.formats.strict import FormatOne, Strict, Text, read_toml
from vision.records import FeatureCurve, JudgeRelease, MarkJudge, MarkModel, SeenCurve

_Chance = Annotated[float, Field(ge=0.0, le=1.0)]
_SHIPPED = "judge.toml"


class _Curve(Strict):
    feature: str
    edges: Annotated[list[float], Field(min_length=1)]
    log_odds: list[float]

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.edges != sorted(set(self.edges)):
            raise ValueError("edges that rise expected")
        if len(self.log_odds) != len(self.edges) + 1:
            raise ValueError(f"{len(self.edges) + 1} log_odds expected, one more than edges, not {len(self.log_odds)}")
        return self


class _Model(Strict):
    base: float
    calibration: list[Annotated[list[float], Field(min_length=2, max_length=2)]]
    curve: list[_Curve]

    @model_validator(mode="after")
    def _rises(self) -> Self:
        sums = [one for one, _ in self.calibration]
        chances = [one for _, one in self.calibration]
        if sums != sorted(set(sums)) or chances != sorted(chances) or not all(0.0 <= one <= 1.0 for one in chances):
            raise ValueError("a calibration that rises, from 0 to 1, expected")
        return self

    def record(self) -> MarkModel:
        curves = tuple(FeatureCurve(one.feature, tuple(one.edges), tuple(one.log_odds)) for one in self.curve)
        return MarkModel(self.base, curves, tuple((at, chance) for at, chance in self.calibration))


class _Seen(Strict):
    log_snr: float
    width: Annotated[float, Field(gt=0.0)]
    plainest: Annotated[float, Field(gt=0.0, le=1.0)]


class _Release(Strict):
    by: Text
    at: Text
    why: Text


class _JudgeFile(Strict):
    format: FormatOne
    revision: Annotated[int, Field(ge=1)]
    status: Literal["draft", "released"]
    made: list[Text]
    sieve_least: _Chance
    scratch_seen: _Seen
    pit_seen: _Seen
    lines: _Model
    sieve: _Model
    spots: _Model
    dust: _Model
    release: _Release | None = None


def read_judge(path: Path) -> MarkJudge:
    """Read a judge of marks.

    Parameters
    ----------
    path
        `judge.toml`.

    Returns
    -------
    MarkJudge
        Its models, and by which digest results name it.

    Raises
    ------
    Unusable
        Naming the key at fault.
    """
    table = read_toml(path, _JudgeFile)
    return MarkJudge(
        revision=table.revision,
        status=table.status,
        lines=table.lines.record(),
        sieve=table.sieve.record(),
        sieve_least=table.sieve_least,
        spots=table.spots.record(),
        dust=table.dust.record(),
        scratch_seen=SeenCurve(**dict(table.scratch_seen)),
        pit_seen=SeenCurve(**dict(table.pit_seen)),
        digest=hashlib.blake2b(read_text(path).encode(), digest_size=16).hexdigest(),
        made=tuple(table.made),
        release=None if table.release is None else JudgeRelease(**dict(table.release)),
    )


def write_judge(judge: MarkJudge, path: Path) -> None:
    """Write a judge of marks, whole or not at all; what `read_judge` reads back differs by its digest alone.

    Parameters
    ----------
    judge
        As fitted.
    path
        `judge.toml`; an old file of this name is replaced.

    Raises
    ------
    Unusable
        Where it can't be written.
    """
    content: dict[str, Any] = {
        "format": 1,
        "revision": judge.revision,
        "status": judge.status,
        "made": list(judge.made),
        "sieve_least": judge.sieve_least,
        "scratch_seen": asdict(judge.scratch_seen),
        "pit_seen": asdict(judge.pit_seen),
        **({} if judge.release is None else {"release": asdict(judge.release)}),
        **{name: _model_table(getattr(judge, name)) for name in ("lines", "sieve", "spots", "dust")},
    }
    write_atomic(path, tomlkit.dumps(content))


def _model_table(model: MarkModel) -> dict[str, Any]:
    curves = [
        {
            "feature": one.feature,
            "edges": list(one.edges),
            "log_odds": list(one.log_odds),
        }
        for one in model.curves
    ]
    calibration = [list(pair) for pair in model.calibration]
    return {"base": model.base, "calibration": calibration, "curve": curves}


@cache
def shipped_judge() -> MarkJudge:
    """The judge of marks that comes with the program.

    Returns
    -------
    MarkJudge
        Released, fitted on rendered faces (docs/benchmarks/judge.md).

    Raises
    ------
    Unusable
        Where the installation is damaged.
    """
    with as_file(files("vision") / _SHIPPED) as path:
        if not path.is_file():
            raise Unusable(
                path, "", "the judge of marks that comes with the program expected", "no file; install again"
            )
        return read_judge(path)

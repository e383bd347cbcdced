"""`bias.json`: a measuring system against reference pieces, as a plain table ready to write."""

from app.studies.bias import BiasStudy, Linearity, Stability
from app.studies.measuring_system import Fitness, MeasuringSystem
from app.studies.study_files import Table, figure


def bias_table(study: BiasStudy, held: MeasuringSystem | None) -> Table:
    """`bias.json`; everything in the units of the readings, intervals 95 %.

    `pieces`: each reference piece's `bias` with standard error and interval, `told` where it is not 0 at 95 % for all
    pieces together. `mean` over all. `scatter`: standard deviations of a reading within a sitting (`repeat`), of what
    sittings add (`sitting`) and of the unit that intervals rest on (`unit`, with `freedom`). `linearity`: bias =
    `intercept` + `slope` x reference value, `line_p` the chance of pieces as far off the line; null below three
    reference values. `stability`: a day's `drift` with its interval and `likeness` (null below eight sittings), and
    `sittings`, each `outside` or not; null without several sittings. `system`, `process`: `percent` of the tolerance
    that twice the standard uncertainty to both sides takes, `at_most`, the index and the components (ISO 22514-7); null
    without a tolerance, `process` also without a crossed study.

    Parameters
    ----------
    study
        What `study_bias` found.
    held
        The system against a tolerance; none where no tolerance was named.

    Returns
    -------
    Table
        The table, ready for `json_text`.
    """
    scatter = study.scatter
    return {
        "format": 1,
        "words": study.words,
        "readings": len(study.readings.value),
        "pieces": [
            {
                "piece": one.name,
                "reference": one.reference,
                "reference_u": one.reference_u,
                "readings": one.readings,
                "bias": figure(one.bias, se=True),
                "told": one.significant,
            }
            for one in study.pieces
        ],
        "mean": figure(study.mean, se=True),
        "scatter": {
            "unit": scatter.unit,
            "freedom": scatter.freedom,
            "repeat": scatter.repeat,
            "sitting": scatter.sitting,
        },
        "linearity": None if study.linearity is None else _linearity(study.linearity),
        "stability": None if study.stability is None else _stability(study.stability),
        "tolerance": None if held is None else held.tolerance,
        "resolution": None if held is None else held.resolution,
        "system": None if held is None else _fitness(held.system),
        "process": None if held is None or held.process is None else _fitness(held.process),
    }


def _linearity(found: Linearity) -> Table:
    return {
        "intercept": figure(found.intercept, se=True),
        "slope": figure(found.slope, se=True),
        "line_p": found.line_p,
    }


def _stability(found: Stability) -> Table:
    line = found.found
    sittings = zip(found.days.tolist(), found.mean.tolist(), found.outside.tolist(), strict=True)
    return {
        "drift": None if line is None else {"value": line.slope, "ci": list(line.slope_ci)},
        "likeness": None if line is None else line.likeness,
        "sittings": [{"day": day, "mean": mean, "outside": outside} for day, mean, outside in sittings],
    }


def _fitness(found: Fitness) -> Table:
    return {
        "outcome": found.outcome,
        "percent": found.percent,
        "ci": list(found.ci),
        "at_most": found.at_most,
        "index": found.index,
        "components": [{"name": part.name, "u": part.u} for part in found.parts],
    }

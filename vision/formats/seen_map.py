"""The map of what could have been seen of a face, as `result.json` holds it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from vision.formats.strict import Strict

_Row = Annotated[str, Field(pattern=r"^[0-9.]+$")]


class SeenTable(Strict):
    """Rows of tenths: a map for each direction, one for the pit, and one of what counts as seen."""

    cell_mm: Annotated[float, Field(gt=0.0)]
    corner_mm: tuple[float, float]
    directions_deg: tuple[float, ...]
    scratch: tuple[tuple[_Row, ...], ...]
    pit: tuple[_Row, ...]
    seen: tuple[_Row, ...] = ()

    @model_validator(mode="after")
    def _of_one_size(self) -> Self:
        shapes = {tuple(len(row) for row in one) for one in (*self.scratch, self.pit, self.seen or self.pit)}
        if len(shapes) != 1 or len(self.scratch) != len(self.directions_deg):
            raise ValueError("maps of one size, and one for each direction, expected")
        return self

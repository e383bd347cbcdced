"""What all checked files share: one strict model, and every fault of a file told in one line."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from vision.errors import Unusable
from vision.formats.bounded import JSON_BYTES, NAME_BYTES, parse_json, parse_toml, read_text


class Strict(BaseModel):
    """A table of a file: no unknown key, no number as text, no NaN or infinity; not changed once read."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def _plain(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError("text of printable characters expected, not empty")
    return text


def _as_process(values: dict[str, Any]) -> dict[str, Any]:
    for key, value in values.items():
        number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < float("inf")
        if not (number or isinstance(value, str)):
            raise ValueError(f"text or a finite number expected for {key}")
    return values


def _as_name(text: str) -> str:
    if len(text.encode()) > NAME_BYTES:
        raise ValueError(f"a name that can be a file's expected: at most {NAME_BYTES} bytes in UTF-8")
    return text


def as_folder_name(text: str) -> str:
    """A tray's name, which becomes a folder's, as a validator."""
    if (
        len(text) > _TRAY_NAME_MAX
        or len(text.encode("utf-8", "replace")) > NAME_BYTES
        or not text.isprintable()
        or not text
        or text != text.strip(". ")
        or set(text) & set('/\\:*?"<>|')
    ):
        raise ValueError(
            f"a name that can be a folder's expected: at most {_TRAY_NAME_MAX} characters and {NAME_BYTES} bytes, "
            'none of / \\ : * ? " < > |, no dot or space at either end'
        )
    return text


Model = TypeVar("Model", bound=Strict)
FormatOne = Annotated[int, Field(ge=1, le=1)]
# 200 characters: longer than any name in use here, short enough for one line of a report.
Text = Annotated[str, Field(max_length=200), AfterValidator(_plain)]
# What a file or a folder is named after, too.
Name = Annotated[Text, AfterValidator(_as_name)]
# A drawing's and a tray's own millimetres: nothing here is larger than a few metres.
LARGEST_MM = 10_000.0
NotNegative = Annotated[float, Field(ge=0.0)]
Millimetres = Annotated[float, Field(ge=-LARGEST_MM, le=LARGEST_MM)]
Length = Annotated[float, Field(ge=0.0, le=LARGEST_MM)]
Place = Annotated[list[Millimetres], Field(min_length=2, max_length=2)]
Span = Annotated[Place, AfterValidator(lambda ends: _rising(ends))]
Process = Annotated[dict[str, Any], AfterValidator(_as_process)]
_TRAY_NAME_MAX = 100  # characters; room is left for what is put before and after it
_FOUND_MAX = 60  # characters of a wrong value that a line shows

_EXPECTED = {
    "missing": "this key is missing; add it",
    "extra_forbidden": "unknown key; remove it or correct its spelling",
    "finite_number": "a finite number expected",
    "float_type": "a number expected",
    "int_type": "a whole number expected",
    "int_from_float": "a whole number expected",
    "string_type": "text in quotes expected",
    "bool_type": "true or false expected",
    "list_type": "a list expected",
    "tuple_type": "a list expected",
    "dict_type": "a table of keys expected",
    "model_type": "a table of keys expected",
    "model_attributes_type": "a table of keys expected",
}


def _rising(ends: list[float]) -> list[float]:
    if not ends[0] < ends[1]:
        raise ValueError("[from, to] with from below to expected")
    return ends


def as_time(text: str) -> str:
    """A text that is a time after ISO 8601, as a validator."""
    try:
        datetime.fromisoformat(text)
        if "W" in text:  # a week's date is a time too, but nothing sorts by it
            raise ValueError
    except ValueError:
        raise ValueError("a time after ISO 8601 expected, as 2026-11-02T06:00:00+00:00") from None
    return text


def read_toml(path: Path, model: type[Model]) -> Model:
    """Read a TOML file into its model.

    Parameters
    ----------
    path
        Any TOML file.
    model
        What it must hold: keys, types and bounds.

    Returns
    -------
    Model
        The file's content, checked.

    Raises
    ------
    Unusable
        One line with the first fault, and how many more there are.
    """
    return as_model(path, parse_toml(path), model)


def as_model(path: Path, table: dict[str, Any], model: type[Model]) -> Model:
    """A table of a file, or one that is to go into it, as its model.

    Raises
    ------
    Unusable
        One line with the first fault, and how many more there are.
    """
    try:
        return model.model_validate(table)
    except ValidationError as fault:
        raise _unusable(path, fault) from None


def read_json(path: Path, model: type[Model]) -> Model:
    """Read a JSON file into its model.

    Raises
    ------
    Unusable
        One line with the first fault, and how many more there are.
    """
    return as_json(path, read_text(path, JSON_BYTES), model)


def as_json(path: Path, text: str, model: type[Model], line: str = "") -> Model:
    """A JSON text of a file as its model; `line` is where in the file it stands.

    Raises
    ------
    Unusable
        One line with the first fault, and how many more there are.
    """
    parse_json(path, text, line)
    try:
        return model.model_validate_json(text)
    except ValidationError as fault:
        raise _unusable(path, fault) from None


def _unusable(path: Path, fault: ValidationError) -> Unusable:
    """The first fault of a file as one line; a wrong `format` goes before all others, since it explains them."""
    faults = fault.errors(include_url=False)
    of_format = [one for one in faults if one["loc"] == ("format",) and one["type"] != "missing"]
    if of_format:
        found = _shortened(of_format[0]["input"])
        return Unusable(path, "format", "format 1 expected, this software reads no other", found)
    first = faults[0]
    more = f"; {len(faults) - 1} more after this one" if len(faults) > 1 else ""
    expected, found = _expected_and_found(first)
    return Unusable(path, _place(first["loc"]), expected + more, found)


def _expected_and_found(one: Any) -> tuple[str, str]:
    """What was expected and what was found, in plain words."""
    kind, context = one["type"], one.get("ctx", {})
    if kind == "missing":
        return _EXPECTED[kind], ""
    if kind == "value_error":
        expected = str(context["error"])
    elif kind in ("literal_error", "union_tag_invalid"):
        expected = f"{context.get('expected', context.get('expected_tags'))} expected"
    elif kind in ("too_short", "too_long"):
        bound = context.get("min_length", context.get("max_length"))
        expected = f"{'at least' if kind == 'too_short' else 'at most'} {bound} items expected"
    else:
        expected = _EXPECTED.get(kind, one["msg"].replace("Input should be", "value expected to be"))
    whole_table = isinstance(one["input"], dict) and kind == "value_error"
    return expected, "" if whole_table else _shortened(one["input"])


def _place(loc: tuple[int | str, ...]) -> str:
    """`zone[2].x_mm` for the second zone's span; list items count from 1, as people do."""
    parts = [f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc]
    return "".join(parts).lstrip(".")


def _shortened(value: object) -> str:
    text = repr(value)
    return text if len(text) <= _FOUND_MAX else text[: _FOUND_MAX - 3] + "..."

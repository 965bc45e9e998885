"""One table of session.toml → its dataclass, with a fault for every key that is unknown or can't be read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import MISSING, fields
from functools import reduce
from operator import getitem
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from reviewkit.ingest.session.session_paths import find_flaw
from reviewkit.ingest.session.session_place import Place, show_key, show_value
from reviewkit.ingest.session.session_values import with_remedy
from reviewkit.model.errors import nearest, shortened
from reviewkit.model.targets import file_of

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from reviewkit.ingest.session.session_schema import Table

T = TypeVar("T", bound="DataclassInstance")
_MOST_KEYS = 100  # no table has half as many
_MOST_ITEMS = 200  # of a list
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)")
_PROBLEMS = {
    "bool_type": "must be true or false, without quotation marks",
    "list_type": "is not a list",
    "dict_type": "is not a table in braces",
    "string_type": "is not text; write it in quotation marks",
    "string_pattern_mismatch": "holds a line break or a control character; write it on one line",
    "string_too_long": "is too long; shorten it to at most {max_length} characters",
    "string_too_short": "is empty",
    "int_type": "is not a whole number",
    "float_type": "is not a number",
    "finite_number": "is not a finite number",
    "greater_than_equal": "is less than {ge:.15g}",
    "less_than_equal": "is more than {le:.15g}",
    "too_short": "has too few values",
    "too_long": "has too many values",
    "value_error": "{error}",
}


def read_table(model: type[T], place: Place, folder: Path) -> T:
    """Return a table of session.toml as the model has it.

    A key that is missing, unknown or unreadable is noted as a fault; its field has the default, or None.

    Parameters
    ----------
    model : type[T]
        The table's dataclass.
    place : Place
        The table's place; faults are noted there.
    folder : Path
        The folder in which the files that the table names must be.
    """
    from pydantic import ValidationError

    from reviewkit.ingest.session.session_schema import FILES, marks_of, schema_of

    schema, marks = schema_of(model), marks_of(model)
    raw = _cut_down(place, len(schema.model_fields))
    try:
        table = schema.model_validate(raw)
    except ValidationError as refused:
        errors = refused.errors(include_url=False, include_input=False)
        for error in errors:
            _note(error, raw, place, schema)
        bad = {error["loc"][0] for error in errors}
        table = schema.model_validate({key: value for key, value in raw.items() if key not in bad})
    attributes = fields(model)
    required = [each.name for each in attributes if each.default is MISSING and each.default_factory is MISSING]
    values: dict[str, Any] = dict.fromkeys(required)
    for (name, value), (key, example) in zip(table, schema.examples().items(), strict=True):
        if name in required and example and key not in place.raw:
            place.fault(f"has no {key}; write for example {key} = {example}")
        if (marks[name] in FILES and value) or (marks[name] == "target" and file_of(value)):
            shared = place.in_studio(key)
            studio = place.document.studio
            if flaw := find_flaw(folder / studio, value, "studio") if shared else find_flaw(folder, value):
                place.fault(_describe(key, value, flaw), key)
            value = f"{studio}/{value}" if shared else value
        # one key's values for several fields come as a named tuple
        values |= value._asdict() if hasattr(value, "_asdict") else {name: value}
    if "line" in (each.name for each in attributes):
        values["line"] = place.line
    return model(**values)


def _cut_down(place: Place, known: int) -> dict[str, Any]:
    """Return the keys of a table that are worth reading: no more than a session can have."""
    if len(place.raw) > _MOST_KEYS:
        place.fault(f"has {len(place.raw)} keys, and may have at most {known}; keep those that are known")
        return {}
    raw = dict(place.raw)
    for key, value in place.raw.items():
        if isinstance(value, list) and len(value) > _MOST_ITEMS:
            place.fault(f"{show_key(key)}: a list of {len(value)} values; keep at most {_MOST_ITEMS}", key)
            del raw[key]
    return raw


def _note(error: Mapping[str, Any], raw: Mapping[str, Any], place: Place, schema: type[Table]) -> None:
    """Note what pydantic refuses, in our words."""
    where, kind = error["loc"], error["type"]
    key = where[0]
    if kind == "extra_forbidden":
        place.fault(f"{show_key(key)}: unknown key; {nearest(key, schema.examples())}", key)
        return
    of_key = where[2:] == ("[key]",)  # the fault is in a key of a table in braces, not in its value
    given = where[1] if of_key else reduce(getitem, where, raw)
    if kind in ("int_type", "float_type") and isinstance(given, str) and _NUMBER.fullmatch(given.strip()):
        problem = f"is text; write the number without quotation marks: {shortened(given.strip(), 60)}"
    elif kind == "literal_error":
        problem = f"is not known; write {error['ctx']['expected']}".replace("'", '"')
    elif kind == "string_type" and isinstance(given, (list, dict)):
        problem = "is not text; write one text in quotation marks"
    else:
        problem = _PROBLEMS[kind].format(**error.get("ctx", {})) if kind in _PROBLEMS else error["msg"]
    name = ".".join(show_key(part) for part in where[: 1 if of_key else None] if isinstance(part, str))
    example = schema.examples()[key]
    problem = with_remedy(problem, f"{key} = {example}" if example and where[1:] else example)
    whole = not of_key and isinstance(where[-1], str)
    place.fault(_describe(name, given, problem, whole=whole), *where[:2])


def _describe(name: str, given: Any, problem: str, *, whole: bool = True) -> str:
    """Return a key, its value, and what is wrong with it: key = "8" has no unit; write "8 ohm"."""
    problem = problem.removeprefix(f'"{shortened(str(given), 60)}"').strip()
    if problem.startswith('"'):  # the value is named already
        return f"{name}: {problem}"
    return f"{name}{' =' if whole else ':'} {show_value(given)}{'' if problem.startswith(':') else ' '}{problem}"

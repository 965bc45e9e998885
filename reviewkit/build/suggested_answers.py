"""The answers that a reader's message about a file suggests."""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reviewkit.model.errors import InputError


def suggested_answers(path: Path, message: str, given: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the keys to write that a message suggests: of a unit that isn't given, each that the readings can be in.

    Parameters
    ----------
    path : Path
        The file.
    message : str
        What its reader says of it.
    given : mapping
        The keys that are known.
    """
    answers = _suggested(message, given.get("units", {}))
    readable = tuple(each for each in answers if len(answers) > 1 and _is_readable(path, {**given, **each}))
    return readable or answers


def _suggested(message: str, units: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the lines that a reader's message suggests, as the keys to write: of a unit that isn't given, each that it
    may be. `units`: those that are given.
    """
    suggested: list[Mapping[str, Any]] = []
    for line, others in re.findall(r"((?:columns|units) = \{[^{}]*\})(?: \((or [^()]*))?", message):
        with contextlib.suppress(ValueError):
            answer = tomllib.loads(line)
            suggested.append(answer)
            more = {key: unit for key, unit in answer.get("units", {}).items() if key not in units}
            for unit in re.findall(r'(?:or |, )"([^"]+)"', others):
                usual = next(iter(more.values()), "")
                instead = {key: unit for key, first in more.items() if first == usual}
                suggested.append({**answer, "units": {**answer["units"], **instead}})
    return tuple(suggested)


def _is_readable(path: Path, given: Mapping[str, Any]) -> bool:
    from reviewkit.ingest.measurement_file import read_any

    with contextlib.suppress(InputError):
        return bool(read_any(path, path.name, given=given))
    return False

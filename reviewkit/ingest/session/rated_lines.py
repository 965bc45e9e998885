"""Ratings as a brochure words them: the lines of ratings.txt, and those of [rated] in session.toml."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reviewkit.ingest.plain_text import numbered_rows
from reviewkit.ingest.session.rating_entries import NotUnderstood
from reviewkit.ingest.session.rating_line import LIMITS, NOT_MEASURED, read_line
from reviewkit.ingest.session.session_place import Place, show_key, show_value
from reviewkit.ingest.session.session_tables import read_table
from reviewkit.ingest.session.toml_lines import TomlDocument
from reviewkit.model.errors import Fault, Faults, InputError, shortened
from reviewkit.model.session import PrintedFigure, Rating

FILE_NAME = "ratings.txt"
_MOST_LINES = 500
_SOURCE = "source"
_LONGEST_SOURCE = 200


@dataclass(frozen=True)
class RatedLines:
    """Ratings with the place of each, and what is only printed."""

    ratings: tuple[tuple[Rating, Place], ...] = ()
    printed: tuple[PrintedFigure, ...] = ()


def parse_ratings(text: str, faults: Faults, folder: Path) -> RatedLines:
    """Return the ratings of a ratings.txt: one line each, with `source: …` above those it is the source of.

    Lines that begin with # are comments.

    Raises
    ------
    InputError
        If there are more lines than any unit has ratings. Whatever isn't understood is noted.
    """
    read: list[RatedLines] = []
    source = ""
    for number, row in numbered_rows(text):
        line = " ".join(row.split())
        if not line or line.startswith("#"):
            continue
        if len(read) >= _MOST_LINES:
            raise InputError(Fault(FILE_NAME, number, f"has over {_MOST_LINES} ratings; keep those of one unit"))
        head, _, rest = line.partition(":")
        if head.casefold() == _SOURCE:
            source = shortened(rest.strip(), _LONGEST_SOURCE)
            continue
        document = TomlDocument({}, {("rated",): number})
        place = Place(document, faults, ("rated",), f'"{shortened(line, 60)}":', {})
        read.append(_read(line, source, place, folder))
    return _joined(read)


def read_lines(place: Place, folder: Path) -> RatedLines:
    """Return the ratings of [rated]: each key is what is rated, each text its figures as they are printed."""
    source = place.raw.get(_SOURCE, "")
    if not isinstance(source, str) or not " ".join(source.split()).isprintable() or len(source) > _LONGEST_SOURCE:
        place.fault('source is not a text of one line; write for example source = "owner\'s manual, page 14"', _SOURCE)
        source = ""
    if len(place.raw) > _MOST_LINES:
        place.fault(f"has {len(place.raw)} keys; keep at most {_MOST_LINES}")
        return RatedLines()
    read = []
    for key, index, text in _texts(place):
        name = NOT_MEASURED if _spaced(key) == NOT_MEASURED else _spaced(key)
        path = (*place.path, key) if index is None else (*place.path, key, index)
        of_line = replace(place, path=path, label=f"{place.label} {show_key(key)}:", raw={})
        read.append(_read(f"{name}: {text}", " ".join(source.split()), of_line, folder))
    return _joined(read)


def _spaced(key: str) -> str:
    return " ".join(key.replace("_", " ").split())


def _texts(place: Place) -> Iterator[tuple[str, int | None, str]]:
    """Yield each text with its key and its place in a list."""
    for key, value in place.raw.items():
        if key == _SOURCE:
            continue
        several = isinstance(value, list)
        for index, each in enumerate(value if several else [value]):
            where = (key, index) if several else (key,)
            if isinstance(each, bool) or not isinstance(each, (str, int, float)):
                place.fault(
                    f"{show_key(key)}: {show_value(each)} is not a text; write the line in quotation marks", *where
                )
                continue
            text = " ".join(str(each).split())
            if not text.isprintable():
                place.fault(f"{show_key(key)}: holds a control character; write the line without it", *where)
            elif index >= _MOST_LINES:
                place.fault(f"{show_key(key)}: a list of {len(value)} texts; keep at most {_MOST_LINES}", key)
                break
            else:
                yield key, index if several else None, text


def _read(line: str, source: str, place: Place, folder: Path) -> RatedLines:
    try:
        read = read_line(line)
    except NotUnderstood as error:
        place.fault(str(error))
        return RatedLines()
    ratings = []
    for table in read.tables:
        raw = {**table, _SOURCE: source} if source else table
        of_table = replace(place, label=f"{place.label} read as {shortened(_as_toml(table), 160)}:", raw=raw)
        ratings.append((read_table(Rating, of_table, folder), of_table))
    return RatedLines(tuple(ratings), tuple(replace(figure, source=source) for figure in read.printed))


def _as_toml(table: dict[str, Any]) -> str:
    return ", ".join(f"{key} = {show_value(value)}" for key, value in table.items())


def _joined(read: list[RatedLines]) -> RatedLines:
    return RatedLines(
        tuple(pair for each in read for pair in each.ratings), tuple(p for each in read for p in each.printed)
    )


def refuse_repeats(ratings: list[tuple[Rating, Place]]) -> None:
    """Note a rating that is written in two places: with the same figure, or with another from no other document."""
    seen: dict[Rating, list[tuple[Rating, Place]]] = {}
    for rating, place in ratings:
        if not rating.quantity:
            continue
        same = seen.setdefault(_without_limit(rating), [])
        for other, there in same:
            apart = rating.source and other.source and rating.source != other.source
            as_tables = place.path[:1] == there.path[:1] and place.document is there.document and _is_table(place)
            if not as_tables and (not apart or _limit(rating) == _limit(other)):
                where = f"{there.faults.source}, line {there.line}"
                place.fault(f"is rated in {where}, too; keep one of them, or write what differs")
                break
        same.append((rating, place))


def _is_table(place: Place) -> bool:
    """Return whether a rating is a [[rated]] table; two documents may then print the same."""
    return len(place.path) == 2 and isinstance(place.path[1], int)


def _without_limit(rating: Rating) -> Rating:
    return replace(rating, source="", order=0, tolerance=None, at_least=None, at_most=None, within=None, nominal=None)


def _limit(rating: Rating) -> tuple[object, ...]:
    return tuple(getattr(rating, key) for key in LIMITS)

"""Ratings as a brochure words them: the lines of ratings.txt, and those of [rated] in session.toml."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reviewkit.ingest.plain_text import numbered_rows
from reviewkit.ingest.session.rating_entries import LIMITS, NotUnderstood
from reviewkit.ingest.session.rating_line import read_line
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.ingest.session.session_place import Place, show_key, show_value
from reviewkit.ingest.session.session_tables import read_table
from reviewkit.ingest.session.toml_lines import TomlDocument
from reviewkit.model.errors import Faults, refusal, shortened
from reviewkit.model.session import PrintedFigure, Rating

_MOST_LINES = 200
_SOURCE = "source"
_LONGEST_SOURCE = 200


# what a line holds: ratings with the place of each, and what is only printed
RatedLine = tuple[Sequence[tuple[Rating, Place]], Sequence[PrintedFigure]]


def add_lines(
    tables: Sequence[tuple[Rating, Place]], own: Place, brochure: str, faults: Faults, folder: Path
) -> tuple[list[tuple[Rating, Place]], tuple[PrintedFigure, ...]]:
    """Return the ratings of [[rated]] tables with those of lines, and what is only printed.

    Parameters
    ----------
    tables : sequence of (Rating, Place)
        The ratings of [[rated]].
    own : Place
        The table [rated]: each key is what is rated, each text its figures as they are printed.
    brochure : str
        The content of ratings.txt.
    faults : Faults
        Of ratings.txt.
    folder : Path
        The session folder.

    Raises
    ------
    InputError
        If ratings.txt has more lines than any unit has ratings.
    """
    read = [*_of_table(own, folder), *_of_file(brochure, faults, folder)]
    ratings = [*tables, *(pair for of_line, _ in read for pair in of_line)]
    _refuse_repeats(ratings)
    return ratings, tuple(figure for _, printed in read for figure in printed)


def _of_file(text: str, faults: Faults, folder: Path) -> Iterator[RatedLine]:
    """Yield what the lines of a ratings.txt give: `source: …` is the source of those below it, # begins a comment."""
    source, count = "", 0
    for number, row in numbered_rows(text):
        line = " ".join(row.split())
        if not line or line.startswith("#"):
            continue
        head, _, rest = line.partition(":")
        if head.casefold() == _SOURCE:
            source = shortened(rest.strip(), _LONGEST_SOURCE)
            continue
        count += 1
        if count > _MOST_LINES:
            raise refusal(RATINGS, f"has over {_MOST_LINES} ratings; keep those of one unit", number)
        document = TomlDocument({}, {("rated",): number})
        yield _read(line, source, Place(document, faults, ("rated",), f'"{shortened(line, 60)}":', {}), folder)


def _of_table(place: Place, folder: Path) -> Iterator[RatedLine]:
    """Yield what the lines of [rated] give."""
    if "quantity" in place.raw:  # meant as a [[rated]] table, which is noted already
        return
    source = place.raw.get(_SOURCE, "")
    if not isinstance(source, str) or not " ".join(source.split()).isprintable() or len(source) > _LONGEST_SOURCE:
        place.fault('source is not one line of text; write for example source = "owner\'s manual, page 14"', _SOURCE)
        source = ""
    if len(place.raw) > _MOST_LINES:
        place.fault(f"has {len(place.raw)} keys; keep at most {_MOST_LINES}")
        return
    for key, index, text in _texts(place):
        path = (*place.path, key) if index is None else (*place.path, key, index)
        of_line = replace(place, path=path, label=f"{place.label} {show_key(key)}:", raw={})
        yield _read(f"{_spaced(key)}: {text}", " ".join(source.split()), of_line, folder)


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
                    f"{show_key(key)}: {show_value(each)} is not text; write the line in quotation marks", *where
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


def _read(line: str, source: str, place: Place, folder: Path) -> RatedLine:
    try:
        read = read_line(line)
    except NotUnderstood as error:
        place.fault(str(error))
        return (), ()
    ratings = []
    for table in read.tables:
        raw = {**table, _SOURCE: source} if source else table
        of_table = replace(place, label=f"{place.label} read as {shortened(_as_toml(table), 160)}:", raw=raw)
        ratings.append((read_table(Rating, of_table, folder), of_table))
    return ratings, [replace(figure, source=source) for figure in read.printed]


def _as_toml(table: dict[str, Any]) -> str:
    return ", ".join(f"{key} = {show_value(value)}" for key, value in table.items())


def _refuse_repeats(ratings: list[tuple[Rating, Place]]) -> None:
    """Note a rating that is written twice: with the same figure, or with another one from the same document."""
    seen: dict[Rating, list[tuple[Rating, Place]]] = {}
    for rating, place in ratings:
        if not rating.quantity:
            continue
        same = seen.setdefault(_without_limit(rating), [])
        for other, there in same:
            apart = rating.source and other.source and rating.source != other.source
            if rating.nominal is not None and place.line == there.line:
                continue  # two speeds, in one line
            if not (_is_table(place) and _is_table(there)) and (not apart or _limit(rating) == _limit(other)):
                where = f"{there.faults.source}, line {there.line}"
                place.fault(f"is also rated in {where}; keep one of them, or write what differs")
                break
        same.append((rating, place))


def _is_table(place: Place) -> bool:
    """Return whether a rating is a [[rated]] table; two documents may then print the same."""
    return len(place.path) == 2 and isinstance(place.path[1], int)


def _without_limit(rating: Rating) -> Rating:
    return replace(rating, source="", order=0, tolerance=None, at_least=None, at_most=None, within=None, nominal=None)


def _limit(rating: Rating) -> tuple[object, ...]:
    return tuple(getattr(rating, key) for key in LIMITS)

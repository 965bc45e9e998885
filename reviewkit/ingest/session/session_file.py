"""session.toml → Session: one pass over the tables, every fault with its line, all together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path, PurePath
from typing import Any

from reviewkit.ingest.plain_text import read_text
from reviewkit.ingest.session.session_entries import MeasurementEntry, entries_of
from reviewkit.ingest.session.session_measurements import complete_measurements
from reviewkit.ingest.session.session_paths import RATINGS, fixed_faults, templates_of
from reviewkit.ingest.session.session_place import Place, show_key, show_value
from reviewkit.ingest.session.session_ratings import complete_ratings
from reviewkit.ingest.session.session_sounds import complete_sounds
from reviewkit.ingest.session.session_tables import T, read_table
from reviewkit.ingest.session.toml_lines import TomlDocument, parse_toml
from reviewkit.model.errors import Fault, Faults, InputError, nearest, refusal
from reviewkit.model.kind import Kind
from reviewkit.model.session import (
    Bench,
    BenchRange,
    CardChoices,
    EpisodeSettings,
    FileSettings,
    LookSettings,
    Measurement,
    PriceTag,
    PrintedFigure,
    Rating,
    Session,
    Sound,
    Unit,
)

FILE_NAME = "session.toml"
TABLES: dict[str, type] = {
    "unit": Unit,
    "price": PriceTag,
    "bench": Bench,
    "rated": Rating,
    "measurement": Measurement,
    "sound": Sound,
    "episode": EpisodeSettings,
    "look": LookSettings,
    "cards": CardChoices,
    "files": FileSettings,
}
_REPEATED = ("rated", "measurement", "sound")
_MOST_TABLES = 500  # of one name
_MOST_NAMES = 100  # looked at outside any table


def read_document(folder: Path) -> TomlDocument:
    """Return the session.toml in a folder, its keys not looked at yet.

    Raises
    ------
    InputError
        The folder, its session.toml or a file that is known by its name cannot be used; with every fault found.
    """
    if not folder.is_dir():
        raise refusal(str(folder), f"there is no such folder; name one that holds a {FILE_NAME}")
    if stray := fixed_faults(folder):
        raise InputError(stray)
    templates_of(folder)
    if not (folder / FILE_NAME).exists():
        remedy = "write one, at least with [unit] maker and model"
        raise refusal(FILE_NAME, f"there is none in {folder}; {remedy}")
    return parse_toml(read_text(folder / FILE_NAME, FILE_NAME), FILE_NAME)


def read_brochure(folder: Path) -> str:
    """Return the text of a session's ratings.txt; "" if there is none.

    Raises
    ------
    InputError
        If it can't be read.
    """
    return read_text(folder / RATINGS, RATINGS, western=True) if (folder / RATINGS).is_file() else ""


def parse_session(text: str, folder: Path, *, kinds: Mapping[str, Kind], brochure: str = "") -> Session:
    """Return the session that a session.toml describes, with the ratings of a ratings.txt, without any file that it
    doesn't name. See `session_of`.
    """
    document = parse_toml(text, FILE_NAME)
    return session_of(document, entries_of(document, ()), folder, kinds=kinds, brochure=brochure)


def session_of(
    document: TomlDocument,
    entries: Sequence[MeasurementEntry],
    folder: Path,
    *,
    kinds: Mapping[str, Kind],
    brochure: str = "",
) -> Session:
    """Return the session that a session.toml describes, with the ratings of a ratings.txt.

    Parameters
    ----------
    document : TomlDocument
        The content of session.toml.
    entries : Sequence[MeasurementEntry]
        Its measurements, with what their files were recognised as.
    folder : Path
        Where the files that it names must be.
    kinds : Mapping[str, Kind]
        The kinds that a measurement may be of, by name.
    brochure : str
        The content of ratings.txt.

    Raises
    ------
    InputError
        With every fault found: of syntax (the first only), of keys and values, and between tables.
    """
    faults = Faults(FILE_NAME)
    _check_top(document, faults)

    def single(name: str, model: type[T]) -> tuple[T | None, Place]:
        raw = document.data.get(name)
        place = Place(document, faults, (name,), f"[{name}]", raw if isinstance(raw, dict) else {})
        return read_table(model, place, folder) if isinstance(raw, dict) else None, place

    def repeated(name: str, model: type[T], *label_keys: str) -> list[tuple[T, Place]]:
        return [(read_table(model, each, folder), each) for each in _places(document, faults, name, *label_keys)]

    unit, unit_place = single("unit", Unit)
    price, price_place = single("price", PriceTag)
    bench = _bench(document, faults, folder)
    episode = single("episode", EpisodeSettings)[0] or EpisodeSettings()
    look, look_place = single("look", LookSettings)
    choices, choices_place = single("cards", CardChoices)
    ratings = repeated("rated", Rating, "quantity")
    of_brochure = Faults(RATINGS)
    printed: tuple[PrintedFigure, ...] = ()
    rated = document.data.get("rated")
    if brochure or isinstance(rated, dict):
        # the patterns of its words take longer than a session of tables
        from reviewkit.ingest.session.rated_lines import add_lines

        own = Place(document, faults, ("rated",), "[rated]", rated if isinstance(rated, dict) else {})
        ratings, printed = add_lines(ratings, own, brochure, of_brochure, folder)
    _refuse_many(document, faults, "measurement", len({entry.number for entry in entries}))
    measured = [_measurement(entry, document, faults, folder) for entry in entries]
    single("files", FileSettings)
    sounds = repeated("sound", Sound, "id")
    if price and "year" not in price_place.raw and "year" not in unit_place.raw:
        remedy = "write the year it was paid in, for example year = 1977"
        price_place.fault(f"has no year, and [unit] has none either; {remedy}")
    if look:
        if look.bold_font and not look.font:
            look_place.fault("bold_font needs font; name the regular file, too", "bold_font")
        look = replace(
            look, bold_font=look.bold_font or look.font, lines=look_place.lines(), sources=look_place.sources()
        )
    if choices:
        choices = replace(choices, lines=choices_place.lines())
    measurements = complete_measurements(measured, bench, kinds)
    session = Session(
        folder=folder,
        unit=unit or Unit("", ""),
        bench=bench,
        price=price,
        ratings=complete_ratings(ratings, bench.load_ohm, unit.gear if unit else None),
        printed=printed,
        measurements=measurements,
        sounds=complete_sounds(sounds, measurements, folder, kinds),
        episode=episode,
        look=look or LookSettings(),
        cards=choices or CardChoices(),
    )
    faults.collected.sort(key=lambda fault: (fault.source != FILE_NAME, fault.line))
    of_brochure.collected.sort(key=lambda fault: fault.line)
    faults.collected += of_brochure.collected
    faults.stop_if_any()
    return session


def _bench(document: TomlDocument, faults: Faults, folder: Path) -> Bench:
    """Return the bench, with its values for inputs and ranges: the tables in it."""
    raw = document.data.get("bench")
    if not isinstance(raw, dict):
        return Bench()
    from reviewkit.ingest.session.session_schema import schema_of

    known = schema_of(Bench).examples()
    ranges = {key: value for key, value in raw.items() if isinstance(value, dict) and key not in known}
    own = {key: value for key, value in raw.items() if key not in ranges}
    bench = read_table(Bench, Place(document, faults, ("bench",), "[bench]", own), folder)
    places = {
        key: Place(document, faults, ("bench", key), f"[bench.{show_key(key)}]", value) for key, value in ranges.items()
    }
    read = {key.casefold(): read_table(BenchRange, place, folder) for key, place in places.items()}
    return replace(bench, ranges=read)


# ------------------------------------------------------------------ which tables there are


def _check_top(document: TomlDocument, faults: Faults) -> None:
    from reviewkit.ingest.session.session_schema import marks_of

    # for a file that is something else altogether, the first keys are enough
    for key, value in islice(document.data.items(), _MOST_NAMES):
        line, shown = document.line(key), show_key(key)
        tables = value if isinstance(value, list) else [value]
        is_table = all(isinstance(each, dict) for each in tables)
        if key not in TABLES and tables and is_table:
            faults.add(line, f"[{shown}]: unknown table; {nearest(key, TABLES)}")
        elif key not in TABLES:
            under = next((table for table, model in TABLES.items() if key in marks_of(model)), "unit")
            faults.add(line, f"{shown} = {show_value(value)} is outside any table; put it under one, such as [{under}]")
        elif key == "rated" and isinstance(value, dict) and "quantity" not in value:
            continue  # a line for each rating
        elif key in _REPEATED and not (is_table and tables is value):
            faults.add(line, f"[{shown}] may appear many times; write [[{shown}]], with two brackets")
        elif key not in _REPEATED and not isinstance(value, dict):
            faults.add(line, f"{shown} is a single table; write [{shown}]")
    if "unit" not in document.data:
        faults.add(0, 'there is no [unit]; write [unit] with maker = "…" and model = "…"')


def _places(document: TomlDocument, faults: Faults, name: str, *label_keys: str) -> Iterator[Place]:
    """Return the tables of one name; the first text among `label_keys` identifies each in messages."""
    tables = document.data.get(name)
    if not isinstance(tables, list):
        return
    _refuse_many(document, faults, name, len(tables))
    for number, raw in enumerate(tables):
        if isinstance(raw, dict):
            yield Place(document, faults, (name, number), _label(name, raw, number, *label_keys), raw)


def _refuse_many(document: TomlDocument, faults: Faults, name: str, count: int) -> None:
    if count > _MOST_TABLES:
        message = f"[[{name}]] appears {count} times; keep at most {_MOST_TABLES} in a session, and split it"
        raise InputError([*faults.collected, Fault(FILE_NAME, document.line(name), message)])


def _label(name: str, raw: Mapping[str, Any], number: int, *label_keys: str) -> str:
    """Return a table's name in messages: the first text among `label_keys` identifies it."""
    names = [raw[key] for key in label_keys if isinstance(raw.get(key), str) and raw[key].strip()]
    called = " ".join(names[0].split()) if names else str(number + 1)
    called = PurePath(called).stem if "/" in called and raw.get("file") == names[0] else called
    return f"[[{name}]] {show_value(called[:40])[1:-1]}:"


def _measurement(
    entry: MeasurementEntry, document: TomlDocument, faults: Faults, folder: Path
) -> tuple[Measurement, Place]:
    """Return the measurement of an entry, and its place: its table, or none."""
    number = len(entry.raw) if entry.number is None else entry.number
    path = () if entry.number is None else ("measurement", entry.number)
    place = Place(document, faults, path, _label("measurement", entry.raw, number, "id", "file", "kind"), entry.raw)
    if entry.question:
        place.fault(entry.question, "file")
    return replace(read_table(Measurement, place, folder), named=entry.named), place

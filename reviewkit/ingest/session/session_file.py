"""session.toml → Session: one pass over the tables, every fault with its line, all at once."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from reviewkit.ingest.plain_text import read_text
from reviewkit.ingest.session.session_measurements import read_measurements
from reviewkit.ingest.session.session_paths import fixed_faults, path_fault, templates_of
from reviewkit.ingest.session.session_ratings import read_rating
from reviewkit.ingest.session.session_tables import Place, checked, shown_key
from reviewkit.ingest.session.session_values import written
from reviewkit.ingest.session.toml_lines import TomlDocument, parse_toml
from reviewkit.model.errors import Fault, Faults, InputError, nearest
from reviewkit.model.ratings import rated_output_w
from reviewkit.model.session import Bench, EpisodeSettings, LookSettings, PriceTag, Rating, Session, Unit

if TYPE_CHECKING:
    from reviewkit.ingest.session.session_schema import BenchTable, EpisodeTable, LookTable, PriceTable, UnitTable

FILE_NAME = "session.toml"
_SINGLE = ("unit", "price", "bench", "episode", "look")
_REPEATED = ("rated", "measurement")
_MOST_TABLES = 500  # of one name
_MOST_NAMES = 100  # looked at outside any table


def read_session(folder: Path, *, kinds: Collection[str]) -> Session:
    """The session in a folder. `kinds`: the names a measurement's kind may have. Raises InputError."""
    if not folder.is_dir():
        raise InputError(Fault(str(folder), 0, f"there is no such folder; name one that holds a {FILE_NAME}"))
    if stray := fixed_faults(folder):
        raise InputError(stray)
    templates_of(folder)
    if not (folder / FILE_NAME).exists():
        remedy = "write one, at least with [unit] maker and model"
        raise InputError(Fault(FILE_NAME, 0, f"there is none in {folder}; {remedy}"))
    return parse_session(read_text(folder / FILE_NAME, FILE_NAME), folder, kinds=kinds)


def parse_session(text: str, folder: Path, *, kinds: Collection[str]) -> Session:
    """The session that a session.toml describes; `folder` is where the files it names must be.

    Raises InputError with every fault found: of syntax (the first only), of keys and values, and between tables.
    """
    from reviewkit.ingest.session import session_schema as schema

    document = parse_toml(text, FILE_NAME)
    faults = Faults(FILE_NAME)
    _check_top(document, faults)

    def place(name: str) -> Place:
        return Place(document, faults, (name,), f"[{name}]")

    unit = checked(schema.UnitTable, _single(document, "unit"), place("unit"))
    price = checked(schema.PriceTable, _single(document, "price"), place("price"))
    bench = checked(schema.BenchTable, _single(document, "bench"), place("bench"))
    episode = checked(schema.EpisodeTable, _single(document, "episode"), place("episode"))
    look = checked(schema.LookTable, _single(document, "look"), place("look"))
    rated = [(checked(schema.RatedTable, raw, at), at) for raw, at in _repeated(document, faults, "rated", "quantity")]
    measured = [
        (checked(schema.MeasurementTable, raw, at), at)
        for raw, at in _repeated(document, faults, "measurement", "id", "file", "kind")
    ]

    the_bench = _bench(bench)
    ratings = [read_rating(table, at) for table, at in rated]
    session = Session(
        folder=folder,
        unit=_unit(unit, place("unit")),
        bench=the_bench,
        price=_price(price, place("price"), unit.year, folder) if "price" in document.data else None,
        ratings=_with_rated_output([rating for rating in ratings if rating is not None], the_bench),
        measurements=read_measurements(measured, the_bench, folder, kinds),
        episode=_episode(episode, place("episode"), folder),
        look=_look(look, place("look"), folder),
    )
    faults.collected.sort(key=lambda fault: fault.line)
    faults.stop_if_any()
    return session


# ------------------------------------------------------------------ which tables there are


def _check_top(document: TomlDocument, faults: Faults) -> None:
    # of a file that is something else altogether, the first keys tell enough
    for key, value in islice(document.data.items(), _MOST_NAMES):
        line = document.line(key)
        shown = shown_key(key)
        if key not in (*_SINGLE, *_REPEATED):
            if isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
                faults.add(line, f"[{shown}]: unknown table; {nearest(key, (*_SINGLE, *_REPEATED))}")
            else:
                where = "stands outside any table; put it under one, such as [unit]"
                faults.add(line, f"{shown} = {written(value)} {where}")
        elif key in _SINGLE and not isinstance(value, dict):
            faults.add(line, f"{shown} is one table, and stands once; write [{shown}]")
        elif key in _REPEATED and not (isinstance(value, list) and all(isinstance(item, dict) for item in value)):
            faults.add(line, f"[{shown}] may stand many times; write [[{shown}]], with two brackets")
    if "unit" not in document.data:
        faults.add(0, 'there is no [unit]; write [unit] with maker = "…" and model = "…"')


def _single(document: TomlDocument, name: str) -> Mapping[str, Any]:
    table = document.data.get(name)
    return table if isinstance(table, dict) else {}


def _repeated(
    document: TomlDocument, faults: Faults, name: str, *label_keys: str
) -> list[tuple[dict[str, Any], Place]]:
    """The tables of one name, each with its place; the first text among `label_keys` tells them apart in messages."""
    tables = document.data.get(name)
    found = []
    if isinstance(tables, list) and len(tables) > _MOST_TABLES:
        said = f"[[{name}]] stands {len(tables)} times; keep at most {_MOST_TABLES} in a session, and split it"
        raise InputError([*faults.collected, Fault(FILE_NAME, document.line(name), said)])
    for number, raw in enumerate(tables if isinstance(tables, list) else ()):
        if isinstance(raw, dict):
            names = [raw[key] for key in label_keys if isinstance(raw.get(key), str) and raw[key].strip()]
            called = " ".join(names[0].split()) if names else str(number + 1)
            called = PurePath(called).stem if "/" in called and raw.get("file") == names[0] else called
            label = f" {written(called[:40])[1:-1]}:"
            found.append((raw, Place(document, faults, (name, number), f"[[{name}]]{label}")))
    return found


# ------------------------------------------------------------------ single tables


def _unit(table: UnitTable, place: Place) -> Unit:
    for key, example in (("maker", "Norrvale"), ("model", "Forty")):
        if "unit" in place.document.data and key not in place.present():
            place.fault(f'has no {key}; write for example {key} = "{example}"')
    return Unit(maker=table.maker, model=table.model, what=table.what, year=table.year, mains=table.mains)


def _bench(table: BenchTable) -> Bench:
    return Bench(
        input=table.input,
        load_ohm=table.load,
        channels=table.channels,
        mains=table.mains,
        coupling=table.coupling,
        equipment=tuple(table.equipment),
        level_uncertainty_db=table.level_uncertainty,
        distortion_floor_percent=table.distortion_floor,
        load_tolerance_percent=table.load_tolerance,
    )


def _with_rated_output(ratings: Sequence[Rating], bench: Bench) -> tuple[Rating, ...]:
    """Ratings re "rated output" with its watts."""
    watts = rated_output_w(ratings, bench.load_ohm)
    return tuple(replace(r, reference_w=watts) if r.reference == "rated output" else r for r in ratings)


def _price(table: PriceTable, place: Place, unit_year: int | None, folder: Path) -> PriceTag:
    present = place.present()
    for key, example in (("paid", "329.00"), ("currency", '"USD"'), ("index", '"prices.csv"')):
        if key not in present:
            place.fault(f"has no {key}; write for example {key} = {example}")
    if place.value("index") == "":
        place.fault('index = "" names no file; write for example index = "prices.csv"', "index")
    if table.year is None and unit_year is None and "year" not in present | set(_single(place.document, "unit")):
        place.fault("has no year, and neither has [unit]; write the year it was paid in, for example year = 1977")
    if table.index:
        fault = path_fault(folder, table.index, "index")
        if fault:
            place.fault(fault, "index")
    return PriceTag(
        paid=table.paid or 0.0,
        currency=table.currency,
        index=table.index,
        year=table.year,
        to=table.to,
        fair=table.fair,
        line=place.line,
    )


def _episode(table: EpisodeTable, place: Place, folder: Path) -> EpisodeSettings:
    if table.photo:
        fault = path_fault(folder, table.photo, "photo")
        if fault:
            place.fault(fault, "photo")
    return EpisodeSettings(
        title=table.title,
        presenter=table.presenter,
        words_per_minute=table.words_per_minute,
        frame_rate=table.frame_rate,
        look=table.look,
        card_seconds=table.card_seconds,
        photo=table.photo,
    )


def _look(table: LookTable, place: Place, folder: Path) -> LookSettings:
    for key, name in (("font", table.font), ("bold_font", table.bold_font)):
        fault = path_fault(folder, name, key) if name else ""
        if fault:
            place.fault(fault, key)
    if table.bold_font and not table.font:
        place.fault("bold_font stands without font; name the regular file, too", "bold_font")
    others = ("font", "bold_font", "presenter")
    return LookSettings(
        colours={key: colour for key, colour in table if colour and key not in others},
        font=table.font,
        bold_font=table.bold_font or table.font,
        presenter=table.presenter,
        lines={key: place.document.line("look", key) for key in place.present()},
    )

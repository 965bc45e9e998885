"""A new session folder: the files of templates/new/, each explained by its comments; in a studio, a short one.

Of a type of gear that has a small sample session, that one's ratings, notes and measurements are the examples in it; of
another type the ratings are those of templates/new-examples/.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reviewkit.ingest.session.session_file import FILE_NAME, parse_session, read_document
from reviewkit.ingest.session.studio import Studio
from reviewkit.ingest.session.toml_edit import insert_measurements
from reviewkit.model import places
from reviewkit.model.errors import CannotFinish, refusal

# of templates/new/session.toml, the examples that those of a type of gear replace
_EXAMPLES = re.compile(r"^# One steady sine.*?(?=^# -+ what is to be heard)", re.MULTILINE | re.DOTALL)
_TABLES = re.compile(r"^(?:# .*\n)*\[\[measurement\]\][\s\S]*", re.MULTILINE)
_OF_ONE_EVENING = ("title", "volts")  # keys of a measurement that another session can't share


def make_session(
    folder: Path, studio: Studio, unit: Mapping[str, str | int | None], like: Path | None = None
) -> list[str]:
    """Create the folder with its files; return their names.

    Parameters
    ----------
    folder : Path
        A folder that doesn't exist yet or is empty.
    studio : Studio
        Its studio. What that says isn't repeated.
    unit : mapping
        Values of [unit], as far as they are known; with a `type`, the examples are of that gear.
    like : Path, optional
        Another session, whose measurements are planned again.

    Returns
    -------
    list of str
        The names.

    Raises
    ------
    InputError
        If something is there already, or a value can't be that of its key.
    CannotFinish
        If it can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise refusal(str(folder), "is there already and not empty; name a folder that is not there yet")
    shipped = places.templates() / "new"
    contents = {source.name: source.read_bytes() for source in sorted(shipped.iterdir())}
    if studio.document:
        contents[FILE_NAME] = (places.templates() / "new-in-studio" / FILE_NAME).read_bytes()
        price = studio.document.data.get("price")
        if isinstance(price, dict) and "index" in price:
            del contents["prices.csv"]
    texts = {name: content.decode() for name, content in contents.items()}
    of_type = places.templates() / "new-examples" / f"{unit.get('type')}.txt"
    if of_type.is_file():
        texts["ratings.txt"] = _with_lines(texts["ratings.txt"], of_type.read_text("utf-8"))
    samples = sorted(places.samples().glob(f"*/{FILE_NAME}")) if unit.get("type") else []
    for sample in samples:
        if read_document(sample.parent).data["unit"].get("type") == unit["type"]:
            texts |= _with_examples(texts, sample.parent)
    texts[FILE_NAME] = _filled(texts[FILE_NAME], folder, unit, like)
    try:
        (folder / "measurements").mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            (folder / name).write_bytes(text.encode())
    except OSError as error:
        raise CannotFinish(f"{folder}: {error.strerror or error}") from error
    return [*texts, "measurements"]


def _with_examples(texts: Mapping[str, str], sample: Path) -> dict[str, str]:
    """Return the files in which a small session's lines are the examples, switched off because they are invented."""
    made = {name: _with_lines(texts[name], (sample / name).read_text("utf-8")) for name in ("ratings.txt", "notes.txt")}
    tables = _TABLES.search((sample / FILE_NAME).read_text("utf-8"))
    examples = _switched_off(tables[0] if tables else "")
    text, count = _EXAMPLES.subn(lambda _: f"{examples}\n", texts[FILE_NAME])
    return {**made, FILE_NAME: text if count else f"{text}\n{examples}"}


def _with_lines(text: str, lines: str) -> str:
    """Return a file's explanations, then these lines in place of its own, switched off."""
    explained = re.sub(r"^#[^ \n].*\n", "", text, flags=re.MULTILINE).rstrip()
    return f"{explained}\n\n{_switched_off(lines)}"


def _switched_off(text: str) -> str:
    return re.sub(r"^(?=[^#\n])", "#", text, flags=re.MULTILINE)


def _filled(text: str, folder: Path, unit: Mapping[str, str | int | None], like: Path | None) -> str:
    """Return a session.toml with the unit's values, and another session's measurements as planned."""
    for key, value in unit.items():
        if value is not None:
            line = f"{key} = {json.dumps(value, ensure_ascii=False)}".replace("\\", r"\\")
            text = re.sub(rf"^#?{key} = .*$", line, text, count=1, flags=re.MULTILINE)
    if like and (tables := _planned(like)):
        text = insert_measurements(text, FILE_NAME, tables)
    if like or any(value is not None for value in unit.values()):
        from reviewkit.measure.kinds import KINDS

        parse_session(text, folder, kinds=KINDS)
    return text


def _planned(like: Path) -> list[dict[str, Any]]:
    """Return the measurements of a session without what was found in them, those that have a place in measurements/."""
    found = read_document(like).data.get("measurement")
    tables = [table for table in found if isinstance(table, dict)] if isinstance(found, list) else []
    return [
        {key: value for key, value in table.items() if key not in _OF_ONE_EVENING} | {"planned": True}
        for table in tables
        if str(table.get("file", "measurements/")).startswith("measurements/")
    ]

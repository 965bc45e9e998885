"""One table of session.toml → its checked values, with a fault for every key that is unknown or cannot be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from reviewkit.ingest.session.session_values import printable, written
from reviewkit.ingest.session.toml_lines import TomlDocument
from reviewkit.model.errors import Faults, nearest, shortened

if TYPE_CHECKING:
    from reviewkit.ingest.session.session_schema import Table

    T = TypeVar("T", bound=Table)

_MOST_KEYS = 100  # no table has half as many
_MOST_ITEMS = 200  # of a list
_NEEDED = {
    "bool_type": "write true or false, without quotation marks",
    "list_type": 'write a list in square brackets: ["…", "…"]',
    "dict_type": 'write a table in braces: { left = "…", right = "…" }',
}


@dataclass(frozen=True)
class Place:
    """Where a table stands, and how it is called in messages."""

    document: TomlDocument
    faults: Faults
    path: tuple[str | int, ...]
    label: str

    @property
    def line(self) -> int:
        """The line of the table itself."""
        return self.document.line(*self.path)

    def fault(self, message: str, *keys: str | int) -> None:
        """Note a fault of the table, or of one of its keys, at its line."""
        self.faults.add(self.document.line(*self.path, *keys), f"{self.label} {printable(message)}")

    def present(self) -> frozenset[str]:
        """The keys that stand in the table, sound or not."""
        table = self._at(self.path)
        return frozenset(table) if isinstance(table, dict) else frozenset()

    def value(self, key: str) -> Any:
        """What stands at a key, unread; None where there is none."""
        return self._at((*self.path, key))

    def _at(self, path: tuple[str | int, ...]) -> Any:
        there: Any = self.document.data
        for part in path:
            try:
                there = there[part]
            except (LookupError, TypeError):
                return None
        return there


def checked(schema: type[T], raw: Mapping[str, Any], place: Place) -> T:
    """The table's values. A key that is unknown or unreadable is noted as a fault and left at its default."""
    from pydantic import ValidationError

    if len(raw) > _MOST_KEYS:
        known = len(schema.model_fields)
        place.fault(f"holds {len(raw)} keys, and there are {known} that it may hold; keep those that are known")
        return schema()
    long = {key: len(value) for key, value in raw.items() if isinstance(value, list) and len(value) > _MOST_ITEMS}
    for key, count in long.items():
        place.fault(f"{shown_key(key)}: a list of {count} values; keep at most {_MOST_ITEMS}", key)
    raw = {key: value for key, value in raw.items() if key not in long}
    try:
        return schema.model_validate(raw)
    except ValidationError as errors:
        found = errors.errors(include_url=False, include_input=False)
    bad: set[str] = set()
    for error in found:
        where = error["loc"]
        key = str(where[0])
        bad.add(key)
        if error["type"] == "extra_forbidden":
            place.fault(f"{shown_key(key)}: unknown key; {nearest(key, schema.model_fields)}", key)
            continue
        given: Any = raw
        for part in where:
            given = given[part]
        if error["type"] == "value_error":
            said = str(error["ctx"]["error"])
        else:
            said = f"{written(given)} cannot stand here; {_NEEDED.get(error['type'], error['msg'])}"
        name = ".".join(shown_key(str(part)) for part in where if isinstance(part, str))
        # the message opens with the value as it stands in the file only where the whole value is at fault
        joint = "=" if said.startswith(written(given)) else ":"
        place.fault(f"{name} = {said}" if joint == "=" else f"{name}: {said}", *where)
    return schema.model_validate({key: value for key, value in raw.items() if key not in bad})


def shown_key(key: str) -> str:
    """A key as it is written: in quotation marks where it needs them."""
    plain = key.replace("_", "").replace("-", "")
    return shortened(key, 60) if plain.isascii() and plain.isalnum() else written(key)

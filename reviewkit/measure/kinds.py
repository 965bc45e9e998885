"""The kinds of measurement, in the order of their cards. A kind that isn't in this list doesn't exist."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from reviewkit.model.kind import Kind

# each in the module of its name
_NAMES = (
    "tone",
    "response",
    "contour",
    "distortion-frequency",
    "distortion-power",
    "crosstalk",
    "source-impedance",
    "load-impedance",
    "flutter",
    "between-channels",
    "level-sweep",
    "multitone",
    "square",
    "noise",
    "lines",
    "intermodulation",
    "phono",
    "reading",
)


class _Kinds(Mapping[str, Kind]):
    """The kinds by name. A module is imported when its kind is asked for, so that listing them loads no numpy."""

    def __getitem__(self, name: str) -> Kind:
        if name not in _NAMES:
            raise KeyError(name)
        kind: Kind = import_module(f"{__package__}.{name.replace('-', '_')}").KIND
        return kind

    def __iter__(self) -> Iterator[str]:
        return iter(_NAMES)

    def __len__(self) -> int:
        return len(_NAMES)

    def __contains__(self, name: object) -> bool:
        return name in _NAMES


KINDS: Mapping[str, Kind] = _Kinds()

"""Templates that travel with the program, kept compiled where Python keeps its own compiled files."""

from __future__ import annotations

import contextlib
import sys
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket


class Compiled(jinja2.BytecodeCache):
    """Compiled templates of one folder. Those of a session are compiled anew each time: a session may come from a
    stranger, and nothing is written beside it. A template that changed is known by its checksum, and another version of
    the template library by the folder's name. As with modules, nothing is written where Python is told not to.
    """

    def __init__(self, travelling: Path) -> None:
        self._travelling = travelling
        self._folder = Path(cache_from_source(str(travelling / "any.py"))).parent / f"jinja2-{jinja2.__version__}"
        self._own: set[str] = set()  # keys of templates that are the session's

    def get_bucket(self, environment: jinja2.Environment, name: str, filename: str | None, source: str) -> Bucket:
        """What is known of a template; empty for one that does not travel with the program."""
        if filename is None or not Path(filename).is_relative_to(self._travelling):
            key = self.get_cache_key(name, filename)
            self._own.add(key)
            return Bucket(environment, key, self.get_source_checksum(source))
        return super().get_bucket(environment, name, filename, source)

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill a bucket from its file; one that is not there, or is none of ours, leaves it empty."""
        with contextlib.suppress(OSError), self._file(bucket).open("rb") as file:
            bucket.load_bytecode(file)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a bucket, if there is a place for it."""
        if bucket.key in self._own or sys.dont_write_bytecode:
            return
        place = self._file(bucket)
        beside = place.with_name(f"{place.name}.{id(bucket)}")
        with contextlib.suppress(OSError):
            place.parent.mkdir(parents=True, exist_ok=True)
            beside.write_bytes(bucket.bytecode_to_string())
            beside.replace(place)

    def _file(self, bucket: Bucket) -> Path:
        return self._folder / f"{bucket.key}.jinja"

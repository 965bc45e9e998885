"""A cache of the shipped templates in compiled form: in the user's cache folder, or in this process."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
from pathlib import Path
from types import CodeType
from typing import ClassVar

import jinja2
from jinja2.bccache import Bucket

_DIGEST_BYTES = hashlib.sha256().digest_size


class TemplateCache(jinja2.BytecodeCache):
    """Compiled templates in a folder that nobody else can write to.

    Sandboxed code is compiled differently, so each kind of environment has its own folder, as has each version of the
    template library and of Python. A file begins with a digest of the rest: a damaged one counts as absent.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill a bucket from its file, if there is one."""
        with contextlib.suppress(OSError):
            content = self._file(bucket).read_bytes()
            if hashlib.sha256(content[_DIGEST_BYTES:]).digest() == content[:_DIGEST_BYTES]:
                bucket.bytecode_from_string(content[_DIGEST_BYTES:])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Write a bucket to its file, if that can be written."""
        place, code = self._file(bucket), bucket.bytecode_to_string()
        new = place.with_name(f"{place.name}.{os.getpid()}-{id(bucket)}")
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            new.write_bytes(hashlib.sha256(code).digest() + code)
            new.replace(place)
        except OSError:
            with contextlib.suppress(OSError):
                new.unlink(missing_ok=True)

    def _file(self, bucket: Bucket) -> Path:
        kind = "sandboxed" if bucket.environment.sandboxed else "plain"
        versions = f"jinja2-{jinja2.__version__}-{sys.implementation.cache_tag}"
        return self._folder / f"{kind}-{versions}" / bucket.key


class ProcessCache(jinja2.BytecodeCache):
    """Compiled templates in the memory of this process, for sessions that are built without a cache folder."""

    _compiled: ClassVar[dict[tuple[bool, str, str], CodeType]] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill a bucket, if its template was compiled before."""
        bucket.code = self._compiled.get(self._key(bucket))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a bucket."""
        if bucket.code:
            self._compiled[self._key(bucket)] = bucket.code

    @staticmethod
    def _key(bucket: Bucket) -> tuple[bool, str, str]:
        return bucket.environment.sandboxed, bucket.key, bucket.checksum

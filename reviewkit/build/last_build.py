"""The inputs and outputs of a session's last build, which show whether there is anything to do.

Imports nothing heavy.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.options import Options
from reviewkit.build.own_files import own_files
from reviewkit.build.program_digest import program_digest
from reviewkit.ingest.session.studio_place import input_digest
from reviewkit.model.digests import digest_of, file_digest, files_in

TEMPLATES, MEASUREMENTS = "templates", "measurements"


@dataclass(frozen=True)
class LastBuild:
    """Digests of a build's files, by their paths: inputs from the session's folder, outputs in the output folder.
    `summary`: what the command printed of it; `listed`: the files that were in measurements/, whether read or not.
    """

    inputs: Mapping[str, str]
    outputs: Mapping[str, str]
    summary: Sequence[str]
    listed: Sequence[str] = ()

    def is_current(self, folder: Path, out: Path) -> bool:
        """Return whether every input and output is as it was, and there is no output of another build."""
        return (
            {name for name in self.inputs if name.startswith(f"{TEMPLATES}/")} == set(own_templates(folder))
            and tuple(self.listed) == listed_files(folder)
            and all(input_digest(folder, name) == digest for name, digest in self.inputs.items())
            and all(not (out / name).is_symlink() for name in self.outputs)
            and all(file_digest(out / name) == digest for name, digest in self.outputs.items())
            and own_files(out).names <= self.outputs.keys()
        )

    def files(self, out: Path) -> dict[str, Path]:
        """Return the outputs' places, by their expected digests."""
        return {digest: out / name for name, digest in self.outputs.items()}


def own_templates(folder: Path) -> list[str]:
    """Return the paths of the session's own templates, in its folder."""
    return [f"{TEMPLATES}/{name}" for name in files_in(folder / TEMPLATES)]


def listed_files(folder: Path) -> tuple[str, ...]:
    """Return every file in measurements/ and its subfolders, by its path in the session folder, hidden ones too."""
    return tuple(f"{MEASUREMENTS}/{name}" for name in files_in(folder / MEASUREMENTS))


def read_last_build(folder: Path, options: Options, encoder: str, cache: Cache) -> LastBuild | None:
    """Return the last build with these options by this program; None if none is known.

    `encoder`: distinguishes the encoder of clips from others.
    """
    entry = cache.read(_key(folder, options, encoder))
    return LastBuild(**json.loads(entry)) if entry else None


def write_last_build(folder: Path, options: Options, encoder: str, build: LastBuild, cache: Cache) -> None:
    """Save a build's digests."""
    cache.write(_key(folder, options, encoder), json.dumps(asdict(build)).encode())


def _key(folder: Path, options: Options, encoder: str) -> str:
    places = [os.path.realpath(path) for path in (folder, options.out_of(folder))]
    wanted = [options.width, options.shapes, options.only, options.overlay, options.motion, options.published]
    wanted += [options.studio]
    return digest_of(json.dumps(["build", program_digest(), *places, wanted, encoder]).encode())

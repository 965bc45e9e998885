"""A session built, edited and built over the last outputs; the same folder built from nothing in another place."""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import io
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
import receiver_session
import third_session
from edits import Edit, Options
from forked_builds import LONGEST_S, Forks

from reviewkit.build.cache import Cache
from reviewkit.commands import cli

CHECKOUT = Path(__file__).resolve().parents[2]
_CACHE_VARIABLES = ("XDG_CACHE_HOME", "REVIEWKIT_CACHE")
Outputs = Mapping[str, str | bytes]


def write_session(name: str, folder: Path) -> None:
    """Write the session of this name, as it is before any edit."""
    if name == "sample":
        shutil.copytree(CHECKOUT / "sample_session", folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    elif name.startswith("sample "):
        third_session.write_of_sample(folder, name.removeprefix("sample "))
    elif name == "receiver":
        receiver_session.write(folder)
    elif name in third_session.WRITERS:
        third_session.WRITERS[name](folder)
    else:
        third_session.write(folder, third_session.kinds_for(name.removeprefix("only ")))


@dataclass(frozen=True)
class Ended:
    """How a build ended: its exit status and its messages."""

    status: int
    said: str


Build = Callable[[Path, Path, Options], Ended]


def build_by_command(folder: Path, cache: Path, options: Options) -> Ended:
    """`reviewkit build` in a process of its own. `cache`: where it may keep what helps later builds."""
    ran = subprocess.run(
        [sys.executable, "-m", "reviewkit", "build", str(folder), *options],
        cwd=CHECKOUT, env=_environment() | _settings(cache), capture_output=True, text=True, check=False,
        timeout=LONGEST_S,
    )  # fmt: skip
    return Ended(ran.returncode, ran.stderr)


@contextlib.contextmanager
def building_in_forks(folder: Path) -> Iterator[Build]:
    """The same with `--jobs 1` if nothing else is asked for, in forks of a process that has imported all of it."""
    if not hasattr(os, "fork"):
        yield build_by_command
        return
    messages = folder / "messages.txt"
    with Forks(CHECKOUT, _environment()) as forks:

        def build(session: Path, cache: Path, options: Options) -> Ended:
            jobs = () if "--jobs" in options else ("--jobs", "1")
            status = forks.run(["build", str(session), *options, *jobs], _settings(cache), messages)
            return Ended(status, messages.read_text(encoding="utf-8"))

        yield build


def _environment() -> dict[str, str]:
    fonts = str(Path.home() / ".cache" / "matplotlib")  # not a list of all fonts each time
    return {"MPLCONFIGDIR": fonts, "OPENBLAS_NUM_THREADS": "1", **os.environ}


def _settings(cache: Path) -> dict[str, str]:
    return dict.fromkeys(_CACHE_VARIABLES, str(cache))


def build_here(folder: Path, cache: Path, options: Options) -> Ended:
    """The same in this process, which saves the imports, and compiling the shipped templates for each empty cache."""
    said = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stderr(said):
        patch.setattr(Cache, "template_folder", lambda cache: None)
        for name in _CACHE_VARIABLES:
            patch.setenv(name, str(cache))
        status = cli.run(["build", str(folder), *options])
    return Ended(status, said.getvalue())


@dataclass(frozen=True)
class First:
    """A session and its first build. `kept`: a copy of both, and of the cache that the build filled."""

    kept: Path
    outputs: Outputs


class Matrix:
    """Tries edits. A session's first build is made once, and copied back to where it was made for every edit."""

    def __init__(self, root: Path, build: Build) -> None:
        self._root, self._build = root, build
        self._first: dict[str, First] = {}
        self._fresh: dict[str, tuple[Ended, Outputs]] = {}
        self.tried = 0

    def faults_of(self, edit: Edit) -> list[str]:
        """What is not as a build from nothing has it, after the edit and after it was taken back."""
        first, work = self._first_build(edit.session), self._root / edit.session
        folder, cache = work / "session", work / "cache"
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(first.kept, work)
        self.tried += 1
        faults = []
        for options in edit.before:
            ended = self._build(folder, cache, options)
            if ended.status:
                return [f"the build before the edit, {options}: {_last(ended)}"]
        edit.change(folder)
        faults += self._compare(edit, folder, cache, first)
        if edit.undo:
            _bring_back(first.kept / "session", folder)
            ended = self._build(folder, cache, ())
            faults += differences("taken back", ended, outputs(folder), Ended(0, ""), first.outputs)
        if edit.again:
            edit.change(folder)
            faults += self._compare(edit, folder, cache, first, "made once more")
        return faults

    def _compare(self, edit: Edit, folder: Path, cache: Path, first: First, when: str = "edited") -> list[str]:
        apart = self._root / "another place" / "session"
        shutil.rmtree(apart.parent, ignore_errors=True)
        shutil.copytree(
            folder, apart, ignore=lambda place, names: {"out"} & set(names) if Path(place) == folder else set()
        )
        for path in _above(folder):
            shutil.copy2(path, apart.parent / path.name)
        faults = []
        for options in edit.between:
            ended = self._build(folder, cache, options)
            if ended.status:
                faults.append(f"{when}, {' '.join(options)}: {_last(ended)}")
        old = outputs(folder)
        ended = self._build(folder, cache, edit.options)
        expected, made = self._from_nothing(apart, edit.options)
        if edit.breaks:
            assert expected.status == 2, f"the edit does not break the session: {_last(expected)}"
            made = old
        else:
            assert expected.status == 0, f"the edited session does not build: {_last(expected)}"
            assert (made != first.outputs) == (edit.alters or bool(edit.options)), (
                "alters what it should not, or nothing"
            )
        return faults + differences(when, ended, outputs(folder), expected, made)

    def _first_build(self, session: str) -> First:
        if session not in self._first:
            work, kept = self._root / session, self._root / "kept" / session
            shutil.rmtree(work, ignore_errors=True)
            write_session(session, work / "session")
            ended = self._build(work / "session", work / "cache", ())
            assert ended.status == 0, f"{session}: {_last(ended)}"
            (work / "cache").mkdir(exist_ok=True)
            shutil.copytree(work, kept)
            self._first[session] = First(kept, outputs(work / "session"))
        return self._first[session]

    def _from_nothing(self, folder: Path, options: Options) -> tuple[Ended, Outputs]:
        above = [(path.name, path.stat().st_mode, path.read_bytes()) for path in _above(folder)]
        key = hashlib.sha256(repr((options, sorted(inputs(folder).items()), above)).encode()).hexdigest()
        if key not in self._fresh:
            cache = self._root / "an empty cache"
            shutil.rmtree(cache, ignore_errors=True)
            ended = self._build(folder, cache, options)
            self._fresh[key] = (ended, outputs(folder))
        return self._fresh[key]


def _above(folder: Path) -> list[Path]:
    """The files of a studio beside a session's folder."""
    return sorted(path for path in folder.parent.iterdir() if path.is_file())


def inputs(folder: Path) -> dict[str, str]:
    """Every file of a session but the outputs, as a digest."""
    return {
        path.relative_to(folder).as_posix(): _digest(path.read_bytes())
        for path in folder.rglob("*")
        if path.is_file() and path.relative_to(folder).parts[0] != "out"
    }


def outputs(folder: Path) -> Outputs:
    """Every file in out/ that is not hidden, and published.json: texts as they are, others as a digest."""
    found: dict[str, str | bytes] = {}
    for path in (*(folder / "out").rglob("*"), folder / "published.json"):
        name = path.relative_to(folder)
        if path.is_file() and not any(part.startswith(".") for part in name.parts):
            content = path.read_bytes()
            is_picture = path.suffix in (".png", ".mp4", ".mov", ".html", ".wav")
            found[name.as_posix()] = _digest(content) if is_picture else content
    return found


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _bring_back(kept: Path, folder: Path) -> None:
    """Take an edit back: every input as it was, written now."""
    for name in set(inputs(folder)) - set(inputs(kept)):
        (folder / name).unlink()
    now = inputs(folder)
    for name, digest in inputs(kept).items():
        if now.get(name) != digest:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes((kept / name).read_bytes())


def differences(when: str, ended: Ended, found: Outputs, expected: Ended, made: Outputs) -> list[str]:
    faults = []
    if ended.status != expected.status:
        faults.append(f"{when}: exit status {ended.status}, not {expected.status}: {_last(ended)}")
    elif ended.said != expected.said:
        faults.append(f"{when}: said {ended.said!r}, not {expected.said!r}")
    if sorted(found) != sorted(made):
        faults.append(f"{when}: too many {sorted(set(found) - set(made))}, missing {sorted(set(made) - set(found))}")
    return faults + [
        f"{when}: {name} differs{_first_line(found[name], made[name])}"
        for name in sorted(set(found) & set(made))
        if found[name] != made[name]
    ]


def _first_line(found: str | bytes, made: str | bytes) -> str:
    """Where two texts part."""
    if isinstance(found, str) or isinstance(made, str):
        return ""
    lines = zip(found.splitlines(), made.splitlines(), strict=False)
    return next((f": {one[:120]!r}, not {other[:120]!r}" for one, other in lines if one != other), ": its end")


def _last(ended: Ended) -> str:
    return " | ".join(ended.said.strip().splitlines()[-3:])


def check(matrix: Matrix, edit: Edit, record_property: Callable[[str, object], None]) -> None:
    """The test of one edit."""
    if edit.needs and importlib.util.find_spec(edit.needs) is None:
        pytest.skip(f"needs {edit.needs}")
    record_property("edits tried", edit.session)
    faults = matrix.faults_of(edit)
    assert not faults, "\n".join(faults)

"""What all tests start from: copies of the sample session, and one build of it that the whole run shares."""

from __future__ import annotations

import contextlib
import gc
import os
import shutil
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

# as the program runs: with threads, linear algebra takes twice the processor time
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

import accuracy as promised
import pytest
from hypothesis import settings

from reviewkit.build import pipeline, pool
from reviewkit.build.build import build
from reviewkit.build.options import Options
from reviewkit.commands import cli

# what a test builds, it builds in its own process, unless it asks for others
pool.paying = lambda sessions=1: 1

# the same cases in every run: what a wider search finds is kept as a case of its own
settings.register_profile("suite", derandomize=True, deadline=None)
settings.load_profile("suite")

# thousands of tests and a chart library are looked through for garbage again and again, and there is none to speak of
gc.freeze()
gc.set_threshold(200_000, 20, 20)

CHECKOUT = Path(__file__).resolve().parents[1]
_SAMPLE = CHECKOUT / "sample_session"
_LONGEST_WAIT_S = 120.0


@dataclass(frozen=True)
class Built:
    """A copy of the sample session, and the folder that it was built into."""

    folder: Path
    out: Path

    def text(self, name: str) -> str:
        """One text output, line ends as they are."""
        return (self.out / name).read_bytes().decode("utf-8")


@dataclass(frozen=True)
class Said:
    """What one command line did: its exit status, and what it printed where."""

    status: int
    out: str
    err: str


def _copied(to: Path) -> Path:
    shutil.copytree(_SAMPLE, to, ignore=shutil.ignore_patterns("out", "__pycache__"))
    return to


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache for this run of the tests alone, which all its processes share."""
    root = tmp_path_factory.getbasetemp()
    place = (root.parent if "PYTEST_XDIST_WORKER" in os.environ else root) / "cache"
    os.environ["REVIEWKIT_CACHE"] = str(place)
    return place


@pytest.fixture(scope="session")
def checkout() -> Path:
    """The folder that holds reviewkit/, templates/ and sample_session/."""
    return CHECKOUT


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """The sample session, built once for the whole run, whatever the number of test processes. Not to be changed."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent  # shared by the processes of one run
    built = Built(root / "sample", root / "sample" / "out")
    mine = True
    try:
        (root / "sample-is-being-built").mkdir()
    except FileExistsError:
        mine = False
    if mine:
        _copied(built.folder)
        build(built.folder, Options())
        (root / "sample-is-built").touch()
    waited_until = time.monotonic() + _LONGEST_WAIT_S
    while not (root / "sample-is-built").exists():
        if time.monotonic() > waited_until:
            pytest.fail("the sample session was not built by the test process that began it")
        time.sleep(0.1)
    return built


@pytest.fixture(scope="session")
def prepared(sample: Built) -> pipeline.Composed:
    """The sample session up to the drawing. Not to be changed."""
    return pipeline.prepare(sample.folder)


@pytest.fixture(scope="session")
def episode(prepared: pipeline.Composed) -> pipeline.Episode:
    """The sample session as the outputs see it."""
    return prepared.episode


@pytest.fixture
def sample_copy(tmp_path: Path) -> Path:
    """A copy of the sample session, without outputs, to be changed at will."""
    return _copied(tmp_path / "session")


@pytest.fixture
def session_of(tmp_path: Path) -> Callable[..., Path]:
    """Makes a session folder from texts: session_of(toml, **{"measurements/a.csv": text}, name=…)."""

    def make(toml: str, files: dict[str, str] | None = None, name: str = "session") -> Path:
        folder = tmp_path / name
        for path, text in {"session.toml": toml, **(files or {})}.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_text(text, encoding="utf-8")
        return folder

    return make


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Runs one command line in this process."""

    def run(*arguments: object) -> Said:
        with contextlib.suppress(OSError):
            capsys.readouterr()
        status = cli.run([str(argument) for argument in arguments])
        printed = capsys.readouterr()
        assert "Traceback" not in printed.out + printed.err
        return Said(status, printed.out, printed.err)

    return run


@pytest.fixture
def accuracy(record_property: Callable[[str, object], None]) -> Callable[[str, float], None]:
    """Holds an error against a row of tests/accuracy.py and records it for the table at the run's end."""

    def check(row: str, error: float) -> None:
        error = abs(float(error))
        record_property("accuracy", (row, error))
        assert error <= promised.ROWS[row].limit, f"{row}: {error:.3g} {promised.ROWS[row].unit}"

    return check


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """One process takes a whole file of tests, so that what its tests share is made once."""
    if getattr(config.option, "dist", "no") == "load":
        config.option.dist = "loadfile"
        config.option.loadscopereorder = False  # the files of few tests are not those that are done soon


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The table of tests/accuracy.py, worst error per row, over all test processes."""
    reports = [report for outcome in ("passed", "failed") for report in terminalreporter.getreports(outcome)]
    for report in reports:
        for name, value in report.user_properties:
            if name == "odd files":
                terminalreporter.line(f"odd files read or refused as they must be: {value}")
            elif name == "awkward cases":
                count, right, of = value
                terminalreporter.line(f"awkward cases: {count}; at the first try {right} of {of} were right")
    edited = Counter(value for report in reports for name, value in report.user_properties if name == "edits tried")
    if edited:
        by_session = ", ".join(f"{session} {count}" for session, count in sorted(edited.items()))
        terminalreporter.line(f"edits after which a session was built again: {sum(edited.values())} ({by_session})")
    checked = [value for report in reports for name, value in report.user_properties if name == "layout check"]
    if checked:
        terminalreporter.line(f"layouts checked in every look, nothing found: {sum(checked)}")
    errors = [tuple(value) for report in reports for name, value in report.user_properties if name == "accuracy"]
    if errors:
        terminalreporter.section("accuracy: worst error of each row")
        for line in promised.table(errors):
            terminalreporter.line(line)

"""How the code is laid out: which way imports go, who may use what, how long a module may be, how nothing is called."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "reviewkit"

# The one table: a module may import only what stands further down. The three stages share a line: none may import
# another.
ORDER: tuple[tuple[str, ...], ...] = (
    ("__main__",),
    ("cli",),
    ("command_line",),
    ("help_pages", "plan_table", "scaffold"),
    ("watch",),
    ("build",),
    ("pipeline",),
    ("drawing", "card_series", "measuring"),
    ("session_files",),
    ("ingest", "measure", "render"),
    ("last_build",),
    ("pool",),
    ("card_groups", "card_files"),
    # what is judged and put together
    ("session_cards",),
    ("episode",),
    ("published",),
    # what to measure
    ("plan/plan",),
    ("plan/entries", "plan/gates", "plan/levels", "plan/remedies"),
    ("plan/order",),
    ("plan/recipes",),
    ("plan/power",),
    ("plan/basis",),
    # how it was judged
    ("spec_table",),
    ("verdict",),
    ("verdict_words",),
    ("comparison", "input_reference"),
    ("changes",),
    ("price",),
    # what kinds, cards and sentences share
    ("distortion_bars", "tone_pictures", "tone_readings"),
    ("tone_curves",),
    ("control_readings", "idle_output", "sweeps", "tone_sheets", "two_loads"),
    ("captures",),
    ("figures",),
    ("bench_floor",),
    ("curves",),
    ("distortion",),
    # arrays in, numbers out
    ("signal/between_tones", "signal/two_tones"),
    ("signal/tone_lines", "signal/noise_lines", "signal/spectrum_lines"),
    ("signal/spectrum",),
    ("signal/lobes", "signal/residual"),
    ("signal/windows",),
    ("signal/weighting",),
    ("signal/step_response",),
    ("signal/flat_parts",),
    ("scales",),
    ("signal/decibels",),
    ("rating_words",),
    ("ratings",),
    ("quantities",),
    ("digits",),
    ("spoken",),
    ("timecode",),
    ("mains",),
    ("units",),
    ("live_server",),
    ("plain_data",),
    ("model",),
    ("options",),
    ("whole_files",),
    ("cache",),
    ("program",),
    ("digests",),
    ("places",),
    ("inside",),
    ("arrays",),
    ("errors",),
    ("__init__",),
)
STAGES = ("ingest", "measure", "render")
PLACE = {name: place for place, names in enumerate(ORDER) for name in names}

# Who alone may import what does not come with Python. Whatever is not named here may be imported nowhere.
ALLOWED: dict[str, tuple[str, ...] | None] = {
    "numpy": None,  # anywhere, but see test_starting_is_light
    "pandas": ("ingest/",),
    "pydantic": ("ingest/session_",),
    "soundfile": ("ingest/capture_file.py",),
    "matplotlib": ("render/paint.py",),
    "PIL": ("render/", "ingest/photo_file.py"),
    "jinja2": ("render/page.py", "render/template_environment.py", "render/template_child.py", "render/compiled.py"),
    "markdown": ("render/page.py",),
    "nh3": ("render/page.py",),
    "selectolax": ("render/page_policy.py",),
    "psutil": ("render/own_templates.py",),
    "rich": ("cli.py", "help_pages.py", "plan_table.py"),
    "imageio_ffmpeg": ("render/ffmpeg.py",),
    "opentimelineio": ("render/timeline.py", "ingest/timeline_file.py"),
    "font_source_sans_pro": ("render/",),
    "watchfiles": ("watch.py",),
    "platformdirs": ("cache.py",),
}
ENDS_PROCESSES = {"__main__.py", "pool.py", "render/template_child.py"}  # of their own
LONGEST = 300
# the data that travels is one list, read as one page
MAY_BE_LONGER = {"model.py"}
SAY_NOTHING = {"utils", "util", "helpers", "helper", "core", "common", "base", "manager", "handler"}


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "_sample_session" not in path.parts)


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(tree_of(path)))


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def part_of(name: str) -> str:
    """The entry of the table that a module's path stands under: its stage, else its own path."""
    stage = name.split("/")[0]
    return stage if stage in STAGES else name.removesuffix(".py")


def imported(tree: Iterable[ast.AST]) -> Iterator[tuple[int, str]]:
    """Every module that a file imports anywhere in it, functions and TYPE_CHECKING blocks included, with the line."""
    for node in tree:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: a relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                # `from reviewkit import units` names a module, `from reviewkit.units import UnitError` does not
                yield node.lineno, whole if is_module(whole) else str(node.module)


def is_module(dotted: str) -> bool:
    parts = dotted.split(".")
    if parts[0] != "reviewkit":
        return False
    place = PACKAGE.joinpath(*parts[1:])
    return place.with_suffix(".py").is_file() or place.is_dir()


def own_imports(path: Path) -> list[tuple[int, str]]:
    """What a file imports of the project itself, as paths within the package without .py."""
    found = []
    for line, dotted in imported(nodes_of(path)):
        if dotted.split(".")[0] == "reviewkit":
            found.append((line, "/".join(dotted.split(".")[1:]) or "__init__"))
    return found


def test_the_table_knows_every_module():
    # a module that is missing here: give it its line in ORDER
    assert [name_of(path) for path in modules() if part_of(name_of(path)) not in PLACE] == []


def test_every_stage_is_there_and_seen():
    seen = {part_of(name_of(path)) for path in modules()}
    assert set(STAGES) <= seen
    assert {"cli", "pipeline", "model", "errors", "verdict"} <= seen
    assert sum(len(own_imports(path)) for path in modules()) > 200


def test_imports_go_one_way():
    wrong = []
    for path in modules():
        own = part_of(name_of(path))
        for line, target in own_imports(path):
            other = part_of(target)
            inside = own == other and own in STAGES
            if not inside and PLACE.get(other, -1) <= PLACE.get(own, len(ORDER)):
                wrong.append(f"{name_of(path)}:{line} imports {target}")
    assert not wrong


@pytest.mark.parametrize("stage", STAGES)
def test_within_a_stage_no_two_modules_import_each_other(stage):
    graph = {}
    for path in (PACKAGE / stage).glob("*.py"):
        # `from reviewkit.ingest import sheet_text` names the package only on the way to its module
        graph[f"{stage}/{path.stem}"] = {target for _, target in own_imports(path) if target.startswith(f"{stage}/")}
    assert len(graph) > 3
    TopologicalSorter(graph).prepare()  # raises CycleError


def test_a_kind_never_imports_a_neighbour_and_is_listed_by_its_package_alone():
    kinds = {
        path.stem
        for path in (PACKAGE / "measure").glob("*.py")
        if re.search(r"^KIND\b.*=", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert len(kinds) >= 6
    for path in modules():
        for line, target in own_imports(path):
            stage, _, module = target.partition("/")
            if stage == "measure" and module in kinds:
                assert name_of(path) == "measure/__init__.py", f"{name_of(path)}:{line} imports {target}"


def test_other_peoples_packages_are_imported_where_the_table_says():
    wrong = []
    for path in modules():
        for line, dotted in imported(nodes_of(path)):
            top = dotted.split(".")[0]
            if top == "reviewkit" or top in sys.stdlib_module_names:
                continue
            allowed = ALLOWED.get(top, ())
            if allowed is not None and not name_of(path).startswith(tuple(allowed)):
                wrong.append(f"{name_of(path)}:{line} imports {dotted}")
    assert not wrong


def nodes() -> Iterator[tuple[str, int, ast.AST]]:
    """Every node of every module that stands in a line, with the module's name and the line."""
    for path in modules():
        for node in nodes_of(path):
            if hasattr(node, "lineno"):
                yield name_of(path), node.lineno, node


def test_only_the_command_line_prints_or_exits():
    wrong = []
    for name, line, node in nodes():
        if name == "cli.py":
            continue
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            exits = called in ("sys.exit", "exit", "quit", "os._exit")
            # __main__ hands the command line's status to the system, and does nothing else
            if called in ("print", "sys.stdout.write", "sys.stderr.write") or (exits and name not in ENDS_PROCESSES):
                wrong.append(f"{name}:{line} calls {called}")
        if isinstance(node, ast.Raise) and node.exc is not None and "SystemExit" in ast.unparse(node.exc):
            wrong.append(f"{name}:{line} raises SystemExit")
    assert not wrong


def test_no_error_is_caught_that_was_not_foreseen():
    wrong = [
        f"{name}:{line}"
        for name, line, node in nodes()
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or re.search(r"\b(Base)?Exception\b", ast.unparse(node.type)))
    ]
    assert not wrong


def test_no_module_is_two_modules():
    lines = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in modules()}
    assert {name: n for name, n in lines.items() if n > LONGEST and name not in MAY_BE_LONGER} == {}


def test_names_say_what_a_thing_does():
    named = [(name_of(path), 0, part) for path in modules() for part in path.relative_to(PACKAGE).with_suffix("").parts]
    for module, line, node in nodes():
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            named.append((module, line, node.name))
    wrong = []
    for module, line, name in named:
        words = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower().split("_")
        if SAY_NOTHING & set(words):
            wrong.append(f"{module}:{line} {name}")
    assert not wrong
    assert len(named) > 500


def test_starting_is_light():
    heavy = ["numpy", "scipy", "pandas", "matplotlib", "pydantic", "jinja2", "rich"]
    program = (
        "import sys, reviewkit.cli, reviewkit.__main__\n"
        f"print(' '.join(name for name in {heavy!r} if name in sys.modules))\n"
        "print('argparse' in sys.modules)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    assert ran.stdout.splitlines() == ["", "True"]


def test_the_data_that_travels_is_light():
    program = "import sys, reviewkit.model, reviewkit.errors; print('numpy' in sys.modules)"
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "False"


# ------------------------------------------------------------------ the walk itself sees what it must


@pytest.mark.parametrize(
    "text",
    [
        "import reviewkit.verdict",
        "from reviewkit import verdict",
        "from reviewkit.verdict import judge",
        "def f():\n    from reviewkit.verdict import judge",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from reviewkit.verdict import Verdict",
    ],
)
def test_the_walk_sees_an_import_wherever_it_stands(text, tmp_path):
    file = tmp_path / "some_module.py"
    file.write_text(text, encoding="utf-8")
    assert [target for _, target in own_imports(file)] == ["verdict"]

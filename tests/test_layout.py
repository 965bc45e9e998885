"""How the code is laid out: which way imports go, who may use what, how long a module may be, how nothing is called."""

from __future__ import annotations

import ast
import re
import runpy
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "reviewkit"

# The one table: a room may import only those further down; rooms in one line, none of the others in it.
ROOMS: tuple[tuple[str, ...], ...] = (
    ("__main__",),
    ("commands",),
    ("build",),
    ("render",),
    ("plan", "episode"),
    ("verdict",),
    ("measure", "ingest"),
    ("signal",),
    ("model",),
    ("__init__",),
)
# what people measure or draw with never meets in one module
APART = ("ingest", "measure", "render")
PLACE = {room: place for place, rooms in enumerate(ROOMS) for room in rooms}

# Who alone may import what does not come with Python. Whatever is not named here may be imported nowhere.
ALLOWED: dict[str, tuple[str, ...] | None] = {
    "numpy": None,  # anywhere, but see test_starting_is_light
    "pandas": (),
    "scipy": ("signal/impedance.py", "signal/peaking.py"),
    "_typeshed": ("ingest/session/session_tables.py",),  # known to type checkers alone
    "pydantic": ("ingest/session/session_",),
    "pydantic_core": ("ingest/sheet/sheet_rows.py",),
    "soundfile": ("ingest/capture_file.py", "ingest/sound_file.py", "render/footage/sound_files.py"),
    "matplotlib": ("render/cards/paint.py",),
    "zlib_ng": ("render/cards/",),
    "PIL": ("render/", "ingest/session/photo_file.py"),
    "fontTools": ("render/pages/embedded_type.py",),
    "jinja2": (
        "render/pages/page.py",
        "render/pages/template_environment.py",
        "render/pages/template_child.py",
        "render/pages/template_cache.py",
    ),
    "markdown": ("render/pages/page.py",),
    "nh3": ("render/pages/page.py",),
    "selectolax": ("render/pages/page_policy.py",),
    "psutil": ("render/pages/own_templates.py",),
    "rich": ("commands/",),
    "imageio_ffmpeg": ("render/footage/ffmpeg.py",),
    "opentimelineio": ("render/footage/timeline.py", "ingest/session/timeline_file.py"),
    "font_source_sans_pro": ("render/",),
    "watchfiles": ("commands/desk/live_session.py",),
    "starlette": ("commands/desk/guard.py", "commands/desk/server.py"),
    "uvicorn": ("commands/desk/guard.py", "commands/desk/server.py"),
    "platformdirs": ("build/cache.py",),
}
ENDS_PROCESSES = {"__main__.py", "build/pool.py", "render/pages/template_child.py"}  # of their own
LONGEST = 300
SAY_NOTHING = {"utils", "util", "helpers", "helper", "core", "common", "base", "manager", "handler"}
# words of stilted English: in a name, a verb or one of the field's terms says more
UNCLEAR = {"told", "said", "held", "taken", "made", "found", "anew", "elsewhere", "once", "beside", "spared", "mended"}
QUESTION_WORDS = ("What", "Whether", "Where", "How")  # a docstring says what to do, not what the question was


@cache
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


def room_of(name: str) -> str:
    """The room that a module is in; of a module in none, its name."""
    return name.split("/")[0].removesuffix(".py")


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
                # `from reviewkit import units` names a module, `from reviewkit.model.units import UnitError` does not
                yield node.lineno, whole if is_module(whole) else str(node.module)


@cache
def is_module(dotted: str) -> bool:
    parts = dotted.split(".")
    if parts[0] != "reviewkit":
        return False
    place = PACKAGE.joinpath(*parts[1:])
    return place.with_suffix(".py").is_file() or place.is_dir()


@cache
def own_imports(path: Path) -> list[tuple[int, str]]:
    """What a file imports of the project itself, as paths within the package without .py."""
    found = []
    for line, dotted in imported(nodes_of(path)):
        if dotted.split(".")[0] == "reviewkit":
            found.append((line, "/".join(dotted.split(".")[1:]) or "__init__"))
    return found


def test_the_top_of_the_package_holds_rooms_only():
    assert {path.name for path in PACKAGE.iterdir() if path.is_file()} == {"__init__.py", "__main__.py", "py.typed"}
    assert {room_of(name_of(path)) for path in modules()} == set(PLACE)


def test_imports_go_one_way():
    wrong, seen = [], 0
    for path in modules():
        own = room_of(name_of(path))
        for line, target in own_imports(path):
            seen += 1
            other = room_of(target)
            if other != own and PLACE.get(other, -1) <= PLACE[own]:
                wrong.append(f"{name_of(path)}:{line} imports {target}")
    assert not wrong
    assert seen > 200


def test_reading_measuring_and_drawing_never_meet():
    wrong = []
    for path in modules():
        own = room_of(name_of(path))
        for line, target in own_imports(path):
            if own in APART and room_of(target) in APART and room_of(target) != own:
                wrong.append(f"{name_of(path)}:{line} imports {target}")
    assert not wrong


def test_no_two_modules_import_each_other():
    graph = {
        name_of(path).removesuffix(".py").removesuffix("/__init__"): {target for _, target in own_imports(path)}
        for path in modules()
    }
    assert len(graph) > 100
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
                assert name_of(path) == "measure/kinds.py", f"{name_of(path)}:{line} imports {target}"


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


def nodes(*kinds: type[ast.AST]) -> Iterator[tuple[str, int, ast.AST]]:
    """Every node of these kinds in every module, with the module's name and the line."""
    for path in modules():
        name = name_of(path)
        for node in nodes_of(path):
            if isinstance(node, kinds):
                yield name, node.lineno, node


def dotted_name(node: ast.expr) -> str:
    """Return `a.b.c` of a name and its attributes. ast.unparse would take a second for all calls of the package."""
    if isinstance(node, ast.Attribute):
        return f"{dotted_name(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def test_only_the_command_line_prints_or_exits():
    wrong = []
    for name, line, node in nodes(ast.Call, ast.Raise):
        if name.startswith("commands/"):
            continue
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            called = dotted_name(node.func)
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
        for name, line, node in nodes(ast.ExceptHandler)
        if (node.type is None or re.search(r"\b(Base)?Exception\b", ast.unparse(node.type)))
    ]
    assert not wrong


def lines_of_code(path: Path) -> int:
    """The lines that hold code: no docstring, no comment, none that is blank."""
    of_docstrings: set[int] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and ast.get_docstring(
            node
        ):
            of_docstrings |= set(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))
    lines = path.read_text(encoding="utf-8").splitlines()
    return sum(
        number not in of_docstrings and bool(line.strip()) and not line.lstrip().startswith("#")
        for number, line in enumerate(lines, start=1)
    )


def test_no_module_is_two_modules():
    lines = {name_of(path): lines_of_code(path) for path in modules()}
    assert {name: n for name, n in lines.items() if n > LONGEST} == {}
    assert sum(lines.values()) > 10_000


def test_names_say_what_a_thing_does():
    named = [(name_of(path), 0, part) for path in modules() for part in path.relative_to(PACKAGE).with_suffix("").parts]
    named += [(*place, node.name) for *place, node in nodes(ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)]
    wrong = []
    for module, line, name in named:
        words = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower().split("_")
        if SAY_NOTHING & set(words):
            wrong.append(f"{module}:{line} {name}")
    assert not wrong
    assert len(named) > 500


def unclear_names(tree: Iterable[ast.AST]) -> Iterator[tuple[int, str]]:
    """Yield the functions and classes of a module that have an unclear word in their name."""
    for node in tree:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            words = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", node.name).lower().split("_")
            if UNCLEAR & set(words):
                yield node.lineno, node.name


def questions(tree: Iterable[ast.AST]) -> Iterator[tuple[int, str]]:
    """Yield the first lines of a module's docstrings that open with a question word."""
    for node in tree:
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = (ast.get_docstring(node) or "").partition("\n")[0]
            if re.match(rf"({'|'.join(QUESTION_WORDS)})\b", first):
                yield getattr(node, "lineno", 1), first


@pytest.mark.parametrize("faults", [unclear_names, questions])
def test_names_and_docstrings_are_plain_english(faults):
    wrong = [f"{name_of(path)}:{line} {text}" for path in modules() for line, text in faults(nodes_of(path))]
    assert not wrong
    assert len(modules()) > 200
    assert not [name for path in modules() if UNCLEAR & set((name := path.stem).split("_"))]


@pytest.mark.parametrize(
    ("text", "names", "first_lines"),
    [
        ('def _told(x):\n    """What was told."""', 1, 1),
        ('class TakenApart:\n    """A thing."""', 1, 0),
        ('class C:\n    def beside(self):\n        """Whether it is."""', 1, 1),
        ('"""Where things are."""\nasync def f():\n    """\n    How to do it."""', 0, 2),
        ('"""Howling."""\ndef foundry():\n    """Return what was found."""', 0, 0),
    ],
)
def test_the_check_of_plain_english_sees_what_it_must(text, names, first_lines):
    tree = tuple(ast.walk(ast.parse(text)))
    assert (len(list(unclear_names(tree))), len(list(questions(tree)))) == (names, first_lines)


# ------------------------------------------------------------------ what docstrings say of arrays and errors

ARRAYS = {"Array", "ArrayLike", "NDArray", "ndarray"}
ANY_FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)


def mentions(expression: ast.expr | None, names: set[str]) -> bool:
    return expression is not None and any(
        getattr(node, "id", getattr(node, "attr", "")) in names for node in ast.walk(expression)
    )


def names_of_arrays(tree: ast.Module) -> set[str]:
    """Return the names that mean an array in a module: those in general use, and its own such as `Mask`."""
    aliases = {
        node.targets[0].id
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and mentions(node.value, {"NDArray"})
    }
    return ARRAYS | aliases


def public_functions(body: Iterable[ast.stmt]) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in body:
        if isinstance(node, (*ANY_FUNCTION, ast.ClassDef)) and not node.name.startswith("_"):
            if isinstance(node, ast.ClassDef):
                yield from public_functions(node.body)
            else:
                yield node


def raised_in(function: ast.FunctionDef | ast.AsyncFunctionDef) -> Iterator[str]:
    """Yield the class of each error that a function itself raises; of one that another function makes, no name."""
    left: list[ast.AST] = list(function.body)
    while left:
        node = left.pop()
        if isinstance(node, ast.Raise):
            error = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            name = dotted_name(error).rpartition(".")[2] if error else ""
            yield name if name[:1].isupper() else ""
        if not isinstance(node, (*ANY_FUNCTION, ast.ClassDef, ast.Lambda)):
            left += ast.iter_child_nodes(node)


def sections_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> dict[str, str]:
    """Return a docstring's numpydoc sections: for each, its lines that aren't indented, which name what it is about."""
    parts = re.split(r"^(\w+)\n-{3,}$", ast.get_docstring(function) or "", flags=re.MULTILINE)
    return {
        title: "\n".join(line for line in text.splitlines() if not line.startswith(" "))
        for title, text in zip(parts[1::2], parts[2::2], strict=True)
    }


def missing_sections(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield what the docstrings of a module's public functions leave out.

    A function that takes or returns an array names each parameter under Parameters, and has Returns (or Yields) if it
    returns anything. One that raises names each error under Raises, and no docstring says so in its text.
    """
    arrays = names_of_arrays(tree)
    for function in public_functions(tree.body):
        sections, missing = sections_of(function), []
        given = function.args
        taken = [*given.posonlyargs, *given.args, *given.kwonlyargs, *filter(None, (given.vararg, given.kwarg))]
        if any(mentions(annotation, arrays) for annotation in (function.returns, *(each.annotation for each in taken))):
            missing += [
                f"Parameters: {each.arg}"
                for each in taken
                if each.arg not in ("self", "cls") and not re.search(rf"\b{each.arg}\b", sections.get("Parameters", ""))
            ]
            returns = not (isinstance(function.returns, ast.Constant) and function.returns.value is None)
            missing += ["Returns"] if returns and not {"Returns", "Yields"} & set(sections) else []
        if re.search(r"\bRaises [A-Z`]", ast.get_docstring(function) or ""):
            missing.append("Raises, as a section")
        for name in sorted(set(raised_in(function))):
            if "Raises" not in sections or not re.search(rf"\b{name}\b", sections["Raises"]):
                missing.append(f"Raises: {name}")
        for each in missing:
            yield function.lineno, f"{function.name}, {each}"


def test_docstrings_say_what_goes_in_and_comes_out_and_is_raised():
    assert [
        f"{name_of(path)}:{line} {text}" for path in modules() for line, text in missing_sections(tree_of(path))
    ] == []
    arrays = [f for path in modules() for f in public_functions(tree_of(path).body) if "Parameters" in sections_of(f)]
    assert len(arrays) > 100


DESCRIBED = '''
Mask = NDArray[np.bool_]
def f(x: Array, {more}) -> {returns}:
    """Return the mean.

    Parameters
    ----------
    x : Array
        Shape (n,), in V, and y.
    {sections}
    """
    {body}
'''
RETURNED = "\n    Returns\n    -------\n    float\n        In V."
RAISED = "\n    Raises\n    ------\n    KeyError\n        If it isn't a ValueError."


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ('def f(x: Array) -> float:\n    """Return the mean of `x`."""', ["Parameters: x", "Returns"]),
        ('def f(x: Mask) -> float:\n    """Return it."""\nMask = NDArray[np.bool_]', ["Parameters: x", "Returns"]),
        ('def f(n: int) -> tuple[np.ndarray, int]:\n    """Return them."""', ["Parameters: n", "Returns"]),
        ('class C:\n    def f(self, x: NDArray) -> None:\n        """Set it."""', ["Parameters: x"]),
        ('def _f(x: Array) -> float:\n    """Return the mean."""\n    raise KeyError(1)', []),
        ('class _C:\n    def f(self, x: Array) -> float:\n        """Return the mean."""', []),
        ('def f() -> None:\n    """Stop."""\n    raise errors.Fault("no")', ["Raises: Fault"]),
        ('def f() -> None:\n    """Stop."""\n    raise fault("no")', ["Raises: "]),
        ('def f() -> None:\n    """Stop. Raises Fault."""\n    g()', ["Raises, as a section"]),
        (
            'def f() -> None:\n    """Stop, as in ValueError."""\n    try:\n        g()\n    except E:\n        raise',
            ["Raises: "],
        ),
        ('def f() -> None:\n    """Stop."""\n    def g() -> None:\n        raise KeyError(1)', []),
        (DESCRIBED.format(more="", returns="None", sections="", body=""), []),
        (DESCRIBED.format(more="", returns="float", sections="", body=""), ["Returns"]),
        (DESCRIBED.format(more="", returns="float", sections=RETURNED, body=""), []),
        (DESCRIBED.format(more="y: int", returns="float", sections=RETURNED, body=""), ["Parameters: y"]),
        (DESCRIBED.format(more="**y: int", returns="float", sections=RETURNED, body=""), ["Parameters: y"]),
        (DESCRIBED.format(more="", returns="None", sections=RAISED, body="raise KeyError(x) from None"), []),
        (DESCRIBED.format(more="", returns="None", sections=RAISED, body="raise ValueError"), ["Raises: ValueError"]),
    ],
)
def test_the_check_of_sections_sees_what_it_must(text, missing):
    assert [each.partition(", ")[2] for _, each in missing_sections(ast.parse(text))] == missing


def namesakes(trees: Mapping[str, Iterable[ast.AST]]) -> list[str]:
    """Return the classes that share a name, with where each is. A leading underscore makes no difference."""
    places: dict[str, list[str]] = {}
    for module, tree in trees.items():
        for node in tree:
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name.lstrip("_"), []).append(f"{module}:{node.lineno} {node.name}")
    return sorted(place for each in places.values() if len(each) > 1 for place in each)


def test_no_two_classes_share_a_name():
    assert not namesakes({name_of(path): nodes_of(path) for path in modules()})
    two = {"a.py": "class Step: ...", "b.py": "def f():\n    class _Step: ...\nclass Other: ..."}
    assert namesakes({module: ast.walk(ast.parse(text)) for module, text in two.items()}) == [
        "a.py:1 Step",
        "b.py:2 _Step",
    ]


HEAVY = frozenset(("numpy", "scipy", "pandas", "matplotlib", "pydantic", "jinja2", "rich"))


def loaded_after(program: str) -> set[str]:
    """Which modules a new process has imported after a program."""
    ran = subprocess.run(
        [sys.executable, "-c", f"{program}\nimport sys\nprint(*sys.modules)"],
        cwd=PACKAGE.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = set(ran.stdout.split())
    assert "reviewkit.model" in loaded  # the program ran
    return loaded


def heavy_after(program: str) -> set[str]:
    """Which heavy packages a new process has imported after a program."""
    return loaded_after(program) & HEAVY


def test_starting_is_light():
    assert heavy_after("import reviewkit.commands.cli, reviewkit.__main__, reviewkit.model") == set()


def test_what_composes_and_draws_is_not_imported_before_measuring():
    """It is imported while other processes measure."""
    loaded = loaded_after("import reviewkit.build.build")
    assert "reviewkit.build.measuring" in loaded
    assert not {name for name in loaded if name.startswith(("reviewkit.render", "reviewkit.episode", "reviewkit.plan"))}


def test_the_data_that_travels_is_light():
    """Every module of it, each of which imports others."""
    own = [
        name_of(path).removesuffix(".py").replace("/", ".") for path in modules() if room_of(name_of(path)) == "model"
    ]
    assert len(own) > 30
    assert "model.arrays" in own
    assert heavy_after("".join(f"import reviewkit.{name.removesuffix('.__init__')}\n" for name in own)) == set()


def test_the_kinds_are_listed_without_their_libraries():
    """Their modules are imported when a kind is used."""
    listed = "from reviewkit.measure.kinds import KINDS\nassert len(list(KINDS)) > 5\nassert 'tone' in KINDS\n"
    assert heavy_after(f"import reviewkit.model\n{listed}assert 'no such kind' not in KINDS") == set()
    assert "numpy" in heavy_after(f"import reviewkit.model\n{listed}KINDS['tone']")


# ------------------------------------------------------------------ the walk itself sees what it must


@pytest.mark.parametrize(
    "text",
    [
        "import reviewkit.verdict.verdict",
        "from reviewkit.verdict import verdict",
        "from reviewkit.verdict.verdict import judge",
        "def f():\n    from reviewkit.verdict.verdict import judge",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from reviewkit.verdict.verdict import Verdict",
    ],
)
def test_the_walk_sees_an_import_wherever_it_stands(text, tmp_path):
    file = tmp_path / "some_module.py"
    file.write_text(text, encoding="utf-8")
    assert [target for _, target in own_imports(file)] == ["verdict/verdict"]


@pytest.mark.parametrize("path", sorted((PACKAGE.parent / "tests" / "bench").glob("*.py")), ids=lambda path: path.name)
def test_a_bench_imports_only_what_there_is(path, monkeypatch):
    """No test runs them whole, so nothing else would notice that a name they use is gone."""
    monkeypatch.setattr(sys, "path", [str(path.parent), *sys.path])
    runpy.run_path(str(path))

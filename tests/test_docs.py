"""What README.md and DEVELOPERS.md must name, and what no file may: lists in prose do not drift away."""

from __future__ import annotations

import argparse
import re
import subprocess
from pathlib import Path

import jinja2.meta
import pytest

from reviewkit import command_line
from reviewkit.ingest.session_schema import TABLES
from reviewkit.measure import KINDS
from reviewkit.ratings import RULES, TRADE_WORDS
from reviewkit.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED

CHECKOUT = Path(__file__).resolve().parents[1]
PROSE = ("README.md", "DEVELOPERS.md")
TEXT_FILES = (".md", ".py", ".toml", ".txt", ".csv", ".j2", ".html", ".css", ".cfg", ".yml", ".yaml", "")


@pytest.fixture(scope="module")
def readme() -> str:
    return (CHECKOUT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def developers() -> str:
    return (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands() -> dict[str, argparse.ArgumentParser]:
    for action in command_line.parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    raise AssertionError("no commands")


def code(text: str) -> str:
    """Everything that stands in backquotes or in a fenced block, a space between."""
    fenced = re.findall(r"^```.*?^```", text, re.MULTILINE | re.DOTALL)
    rest = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    return "\n".join([*fenced, *re.findall(r"`([^`]+)`", rest)])


def has_word(word: str, text: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


# ------------------------------------------------------------------ README.md


PAGES = ("*.md.j2", "*.txt.j2", "episode.html", "prompter.html", "plan.html", "spec-table.html")


@pytest.mark.parametrize("name", sorted(path.name for page in PAGES for path in (CHECKOUT / "templates").glob(page)))
def test_readme_names_what_every_template_is_given(name, readme):
    source = (CHECKOUT / "templates" / name).read_text(encoding="utf-8")
    environment = jinja2.Environment()
    environment.filters.update(dict.fromkeys(re.findall(r"\|\s*([a-z]+)", source), str))
    rows = [line for line in readme.splitlines() if line.startswith("| `") and f"`{name}`" in line.split("|")[1]]
    told = code("\n".join(rows))
    asked = jinja2.meta.find_undeclared_variables(environment.parse(source)) - {"part"}  # a namespace of their own
    assert [word for word in sorted(asked) if not has_word(word, told)] == []


@pytest.mark.parametrize("command", sorted(commands()))
def test_readme_names_every_command_and_its_options(command, readme):
    assert f"reviewkit {command} " in code(readme)
    for action in commands()[command]._actions:
        for option in action.option_strings:
            if option.startswith("--"):
                assert has_word(option, code(readme)), f"{command} {option}"
        for choice in action.choices or ():
            assert str(choice) in readme, f"{command} {action.option_strings}: {choice}"


def test_readme_promises_no_option_and_no_command_that_is_not_there(readme):
    known = {
        option
        for parser in [command_line.parser(), *commands().values()]
        for a in parser._actions
        for option in a.option_strings
    }
    # what belongs to other programs' command lines stands only in the fenced set-up commands
    prose = re.sub(r"^```.*?^```", "", readme, flags=re.MULTILINE | re.DOTALL)
    named = set(re.findall(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*", code(prose)))
    assert named - known == set()
    for command in re.findall(r"reviewkit ([a-z]+) ", code(readme)):
        assert command in commands()


@pytest.mark.parametrize("kind", KINDS)
def test_readme_describes_every_kind(kind, readme):
    assert re.search(rf"^#+ `?{re.escape(kind)}`?$", readme, re.MULTILINE), kind


@pytest.mark.parametrize("table", TABLES)
def test_readme_names_every_key_of_a_session(table, readme):
    assert f"[{table}]" in readme
    for key in TABLES[table].model_fields:
        assert has_word(key, code(readme)), f"[{table}] {key}"


def test_readme_names_every_rating_and_every_verdict(readme):
    for name in RULES:
        words = [name, *(word for word, rated in TRADE_WORDS.items() if rated == name)]
        assert any(has_word(word.replace("_", " "), code(readme)) for word in words), name
    for word in (MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED):
        assert word in readme


def test_readme_names_every_output(readme, sample):
    made = [path.relative_to(sample.out).as_posix() for path in sample.out.rglob("*") if path.is_file()]
    assert len(made) > 20
    for name in made:
        folder = name.split("/")[0]
        if folder in ("cards", "strips"):
            assert re.fullmatch(rf"{folder}/\d\d-[a-z0-9-]+\.png", name)
            name = f"{folder}/NN-ID.png"
        stem, _, kind = name.rpartition(".")
        assert has_word(name, readme) or f"`{name}`" in readme or (stem in readme and f"`.{kind}`" in readme), name


def test_readme_names_every_exit_status_and_every_input(readme):
    for status in ("0 done", "2 the input or the command line is wrong", "1 it could not finish"):
        assert status in " ".join(readme.split())
    for name in ("session.toml", "notes.txt", "prices.csv", "repair.csv", "measurements/", "final.txt", "templates/"):
        assert has_word(name.rstrip("/"), readme), name


def marked_command(readme: str, mark: str) -> str:
    """The command in the block behind a mark, as a script would take it out of the file."""
    found = re.search(rf"<!-- {mark} command -->\n```sh\n(.*?)\n```$", readme, re.MULTILINE | re.DOTALL)
    assert found, f"no {mark} command"
    return found[1]


def test_readme_has_the_two_commands_each_in_one_line(readme):
    sample, tests = marked_command(readme, "sample"), marked_command(readme, "test")
    assert "\n" not in sample
    assert "\n" not in tests
    assert sample.endswith("reviewkit build sample_session")
    assert "pip install" in sample
    assert "pytest" in tests
    assert ".[test]" in tests
    for command in (sample, tests):
        checked = subprocess.run(["bash", "-n", "-c", command], capture_output=True, text=True, check=False)
        assert checked.returncode == 0, checked.stderr


def links(text: str) -> list[str]:
    return re.findall(r"\]\(([^)\s]+)\)", text)


@pytest.mark.parametrize("name", PROSE)
def test_every_link_leads_somewhere(name):
    text = (CHECKOUT / name).read_text(encoding="utf-8")
    headings = {
        re.sub(r"[^\w\- ]", "", line.lstrip("# ").lower()).strip().replace(" ", "-")
        for line in text.splitlines()
        if line.startswith("#")
    }
    for target in links(text):
        if target.startswith("#"):
            assert target[1:] in headings, target
        elif not re.match(r"https?:", target):
            assert (CHECKOUT / target.split("#")[0]).exists(), target


# ------------------------------------------------------------------ DEVELOPERS.md


def test_every_file_that_developers_md_names_exists(developers):
    places = [CHECKOUT / top for top in ("", "reviewkit", "tests", "templates", "sample_session")]
    places += [CHECKOUT / "reviewkit" / stage for stage in ("ingest", "measure", "render", "signal")]
    named = set(re.findall(r"(?<![\w/.*-])[\w./-]*\w\.(?:py|toml|md|j2)\b", code(developers)))
    assert len(named) >= 10
    # NAME stands for the name of what is to be added
    missing = [name for name in named if "NAME" not in name and not any((place / name).is_file() for place in places)]
    assert missing == []


def test_developers_md_names_every_stage_and_how_a_kind_is_added(developers):
    for stage in ("ingest", "measure", "render"):
        assert has_word(stage, developers)
        assert (CHECKOUT / "reviewkit" / stage).is_dir()
    assert has_word("KINDS", developers)
    assert "templates/words/" in developers


def test_every_name_in_backquotes_that_looks_like_a_function_exists(developers):
    sources = "\n".join(
        path.read_text(encoding="utf-8")
        for top in ("reviewkit", "tests", "sample_session")
        for path in (CHECKOUT / top).rglob("*.py")
    )
    for name in re.findall(r"`(?:\w+\.)?(\w+)\([^`]*\)`", developers):
        assert re.search(rf"\b{name}\b", sources), name


# ------------------------------------------------------------------ what stands in no file


def own_files() -> list[Path]:
    """Every text file of the checkout that is not made by a program."""
    skipped = {"out", "__pycache__", "golden", "dist", "build"}
    found = []
    for top in ("reviewkit", "templates", "sample_session", "tests", ".ci"):
        for path in (CHECKOUT / top).rglob("*"):
            if path.is_file() and path.suffix in TEXT_FILES and not skipped & set(path.parts):
                found.append(path)
    return found + [CHECKOUT / name for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", ".gitignore")]


# the places of one machine; written in two halves so that this list does not find itself
PLACES = ["/" + place for place in ("home/", "Users/", "work/", "root/", "tmp/v", "var/folders", "private/")] + [
    "C:" + "\\Users",
    "file:" + "//",
    "local" + "host",
]


def test_no_file_names_a_place_of_one_machine():
    files = own_files()
    assert len(files) > 100
    for path in files:
        text = path.read_text(encoding="utf-8", errors="replace")
        for place in PLACES:
            assert place not in text, f"{path.relative_to(CHECKOUT)}: {place}"


def test_every_address_is_documented_prose_or_a_licence():
    """Nothing is fetched, so no source file and no template needs an address."""
    for path in own_files():
        if path.suffix in (".py", ".j2", ".html", ".toml", ".csv", ".txt"):
            for address in re.findall(
                r"https?:" + r"//[^\s\"'<>)]+", path.read_text(encoding="utf-8", errors="replace")
            ):
                assert path.is_relative_to(CHECKOUT / "tests"), f"{path.relative_to(CHECKOUT)}: {address}"


def test_the_demonstration_says_that_it_is_invented(readme):
    for text in (readme, (CHECKOUT / "sample_session" / "session.toml").read_text(encoding="utf-8")):
        assert "invented" in text
        assert "Norrvale" in text

"""What README.md, the help pages and DEVELOPERS.md must name, and what no file may: lists in prose do not drift away.

Every example of the README and the pages is tried: what is shown works.
"""

from __future__ import annotations

import argparse
import json
import re
import shlex
import shutil
import subprocess
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import jinja2.meta
import numpy as np
import pytest
import soundfile
from PIL import Image

from reviewkit.build.session_files import read
from reviewkit.commands import argument_parser, cli
from reviewkit.ingest.measurement_file import read_any
from reviewkit.ingest.session.cut_file import parse_cut
from reviewkit.ingest.session.notes_file import parse_notes
from reviewkit.ingest.session.price_file import parse_prices
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.session_file import TABLES, parse_session
from reviewkit.ingest.session.session_schema import schema_of
from reviewkit.measure.kinds import KINDS
from reviewkit.model.ratings import RULES, TRADE_WORDS
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED

CHECKOUT = Path(__file__).resolve().parents[1]
SAMPLE = CHECKOUT / "sample_session"
PAGES = {path.stem: path.read_text(encoding="utf-8") for path in sorted((CHECKOUT / "templates/help").glob("*.md"))}
PROSE = ("README.md", "DEVELOPERS.md", *(f"templates/help/{name}.md" for name in PAGES))
TEXT_FILES = (".md", ".py", ".toml", ".txt", ".csv", ".j2", ".html", ".css", ".cfg", ".yml", ".yaml", "")


@pytest.fixture(scope="module")
def readme() -> str:
    return (CHECKOUT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def developers() -> str:
    return (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands() -> dict[str, argparse.ArgumentParser]:
    for action in argument_parser.make_parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    raise AssertionError("no commands")


def without_blocks(text: str) -> str:
    """A text without its fenced blocks."""
    return re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)


def code(text: str) -> str:
    """Everything that stands in backquotes or in a fenced block, a space between."""
    fenced = re.findall(r"^```.*?^```", text, re.MULTILINE | re.DOTALL)
    return "\n".join([*fenced, *re.findall(r"`([^`]+)`", without_blocks(text))])


def section(page: str, heading: str) -> str:
    """What stands under a heading of the second level."""
    found = re.search(rf"^## {re.escape(heading)}$(.*?)(?=^## |\Z)", PAGES[page], re.MULTILINE | re.DOTALL)
    assert found, f"{page}: no ## {heading}"
    return found[1]


def has_word(word: str, text: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


# ------------------------------------------------------------------ README.md


def test_the_readme_is_short(readme):
    assert len(readme.splitlines()) <= 150


def test_the_readme_opens_with_the_job_and_three_cards(readme):
    title, job, *rest = readme.split("\n\n")
    assert title == "# reviewkit"
    assert len(job.split()) > 40
    shown = [re.fullmatch(r"!\[([^\]]+)\]\(([^)]+)\)", paragraph) for paragraph in rest[:3]]
    assert all(shown), "three pictures, each with a text for those who cannot see it"
    size = 0
    for _, path in (found.groups() for found in shown if found):
        assert not path.startswith(("/", "http"))
        with Image.open(CHECKOUT / path) as card:
            assert card.format == "PNG"
            assert 1000 <= card.width <= 1280
            assert card.width * 9 == card.height * 16
        size += (CHECKOUT / path).stat().st_size
    assert size < 400_000


def test_the_readme_says_in_five_lines_what_comes_out(readme):
    listed = readme.partition("## What comes out\n\n")[2].partition("\n\n")[0].splitlines()
    assert len(listed) == 5
    assert all(line.startswith("- **") and len(line) <= 120 for line in listed)


def test_the_readme_links_to_every_page(readme):
    for name in PAGES:
        assert f"[{name}](templates/help/{name}.md)" in readme


@pytest.mark.parametrize(
    "caution",
    ["Mains voltage can kill", "capacitors", "current", "no loudspeaker", "transformer", "burn", "clip", "hearing"],
)
def test_the_cautions_stand_in_the_readme_and_on_their_page(caution, readme):
    safety = readme.partition("## Safety")[2].partition("\n## ")[0]
    assert caution in " ".join(safety.split())
    assert caution in " ".join(PAGES["safety"].split())


# ------------------------------------------------------------------ the help pages

TEMPLATES = ("*.md.j2", "*.txt.j2", "episode.html", "prompter.html", "plan.html", "spec-table.html")


@pytest.mark.parametrize("name", PAGES)
def test_the_first_line_of_a_page_says_what_it_is_for(name):
    first, second = PAGES[name].split("\n")[:2]
    assert re.fullmatch(r"# \w.{20,98}", first)
    assert second == ""
    assert "\n# " not in without_blocks(PAGES[name])


@pytest.mark.parametrize("name", sorted(p.name for t in TEMPLATES for p in (CHECKOUT / "templates").glob(t)))
def test_the_page_names_what_every_template_is_given(name):
    source = (CHECKOUT / "templates" / name).read_text(encoding="utf-8")
    environment = jinja2.Environment()
    environment.filters.update(dict.fromkeys(re.findall(r"\|\s*([a-z]+)", source), str))
    rows = [
        line for line in PAGES["templates"].splitlines() if line.startswith("| `") and f"`{name}`" in line.split("|")[1]
    ]
    named = code("\n".join(rows))
    asked = jinja2.meta.find_undeclared_variables(environment.parse(source)) - {"part"}  # a namespace of their own
    assert [word for word in sorted(asked) if not has_word(word, named)] == []


def test_the_page_names_every_template():
    """All that a session may replace."""
    for path in (CHECKOUT / "templates").iterdir():
        if path.is_file():
            assert has_word(path.name, PAGES["templates"]), path.name


@pytest.mark.parametrize("command", sorted(commands()))
def test_the_page_names_every_command_and_its_options(command):
    told = code(PAGES["commands"])
    assert has_word(f"reviewkit {command}", told)
    options = code(section("commands", "Options of `build`" if command == "build" else "Options of the other commands"))
    for action in commands()[command]._actions:
        for option in action.option_strings:
            if option == "--help":
                assert has_word(option, told)
            elif option.startswith("--"):
                assert has_word(option if command == "build" else f"{command} {option}", options), f"{command} {option}"
        for choice in action.choices or ():
            assert has_word(str(choice), options), f"{command} {action.option_strings}: {choice}"


@pytest.mark.parametrize("name", ["README.md", *PAGES])
def test_no_option_and_no_command_is_promised_that_is_not_there(name, readme):
    known = {
        option
        for parser in [argument_parser.make_parser(), *commands().values()]
        for a in parser._actions
        for option in a.option_strings
    }
    text = PAGES.get(name, readme)
    # what belongs to other programs' command lines stands only in fenced blocks
    named = set(re.findall(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*", code(without_blocks(text))))
    assert named - known == set()
    for command in re.findall(r"(?<!/)reviewkit ([a-z]+)\b", code(text)):
        assert command in commands()


def test_every_help_page_that_is_named_is_there(readme):
    """In the README, the pages, the files of a new session and the program's own messages."""
    named = {}
    for path in [CHECKOUT / "README.md", *(CHECKOUT / "templates").rglob("*"), *(CHECKOUT / "reviewkit").rglob("*.py")]:
        if path.is_file():
            for topic in re.findall(r"reviewkit help ([a-z]+)", path.read_text(encoding="utf-8")):
                named.setdefault(topic, path.name)
    assert len(named) >= 8
    assert {topic: where for topic, where in named.items() if topic not in PAGES} == {}


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_describes_every_kind_with_an_example(kind):
    assert re.search(rf"^\| `{re.escape(kind)}` \|", PAGES["kinds"], re.MULTILINE)
    assert f'kind = "{kind}"' in code(section("kinds", kind))


@pytest.mark.parametrize("table", TABLES)
def test_the_page_names_every_key_of_a_session(table):
    """In the first column of its own table."""
    heading = f"[[{table}]]" if table in ("rated", "measurement", "sound") else f"[{table}]"
    rows = [line for line in section("session", heading).splitlines() if line.startswith("| `")]
    named = {key for row in rows for key in re.findall(r"`([^`]+)`", row.split("|")[1])}
    assert named == set(schema_of(TABLES[table]).examples())


def test_the_page_names_every_rating_and_every_verdict():
    rated = code(section("ratings", "What can be rated"))
    for name in RULES:
        words = [name, *(word for word, known in TRADE_WORDS.items() if known == name)]
        assert any(has_word(word.replace("_", " "), rated) for word in words), name
    for word in (MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED):
        assert f"\n| {word} |" in PAGES["ratings"]


def test_the_page_names_every_output(sample):
    page = PAGES["outputs"]
    made = [path.relative_to(sample.out).as_posix() for path in sample.out.rglob("*") if path.is_file()]
    assert len(made) > 20
    for name in made:
        folder = name.split("/")[0]
        if folder == "sounds":
            name = re.sub(r"/\w+-", "/ID-", name)
        if folder in ("cards", "strips"):
            assert re.fullmatch(rf"{folder}/\d\d-[a-z0-9-]+\.png", name)
            name = f"{folder}/NN-ID.png"
        stem, _, kind = name.rpartition(".")
        assert has_word(name, page) or f"`{name}`" in page or (stem in page and f"`.{kind}`" in page), name


def test_the_page_names_every_exit_status():
    statuses = {
        cli.DONE: "Done.",
        cli.WRONG_INPUT: "The input or the command line is wrong, and nothing was written.",
        cli.UNFINISHED: "It could not finish",
    }
    rows = dict(re.findall(r"^\| (\d) \| (.+) \|$", section("commands", "Exit status"), re.MULTILINE))
    assert {int(status) for status in rows} == set(statuses)
    for status, words in statuses.items():
        assert rows[str(status)].startswith(words)


def test_the_page_shows_every_input():
    folder = PAGES["session"].partition("my-session/\n")[2].partition("```")[0]
    for name in (
        "session.toml",
        "ratings.txt",
        "notes.txt",
        "prices.csv",
        "repair.csv",
        "measurements/",
        "final.txt",
        "templates/",
    ):
        assert f"\n  {name} " in f"\n{folder}", name


# ------------------------------------------------------------------ every example works


class Block:
    """A fenced block: its language, the file that it is an example of if it names one, and its text."""

    def __init__(self, language: str, name: str, text: str) -> None:
        self.language, self.name, self.text = language, name, text


def blocks(text: str) -> list[Block]:
    return [Block(*found) for found in re.findall(r"^```(\w*) ?(.*?)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


EXAMPLES = [(page, block) for page, text in PAGES.items() for block in blocks(text)]
NAMED = [(page, block) for page, block in EXAMPLES if block.name and block.name not in ("messages", "studio.toml")]
TOML = [(page, block.text) for page, block in EXAMPLES if block.language == "toml" and not block.name]
READERS = {
    "notes.txt": parse_notes,
    "repair.csv": parse_repair,
    "ratings.txt": lambda text: parse_session(UNIT, Path(), kinds={}, brochure=text),
    "prices.csv": lambda text: parse_prices(text, "prices.csv"),
    "final.txt": parse_cut,
}
# the samples' first file of each kind, for examples that name a file of it
FILES = {
    m.kind: path.parent / m.file
    for path in sorted(SAMPLE.rglob("session.toml"))
    for m in reversed(read(path.parent).session.measurements)
    if m.file
}
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\nyear = 1977\nmains = "120 V 60 Hz"\n'


def written(folder: Path, page: str) -> None:
    """The files that a page shows, in a session folder."""
    for _, block in (each for each in NAMED if each[0] == page):
        (folder / block.name).parent.mkdir(parents=True, exist_ok=True)
        (folder / block.name).write_text(block.text, encoding="utf-8")


def completed(text: str, folder: Path) -> str:
    """An example of session.toml with what it leaves out, and the files that it names put into the folder."""
    tables = tomllib.loads(text)
    if "unit" not in tables:
        text = f"{UNIT}\n{text}"
    if "bench" not in tables:
        text += '\n[bench]\nload = "8 ohm"\nchannels = "both"\n'
    measurements = tables.get("measurement", [])
    if any("against" in one for one in measurements):
        text += '\n[[measurement]]\nkind = "response"\nfile = "measurements/response.csv"\n'
        measurements = [*measurements, {"kind": "response", "file": "measurements/response.csv"}]
    (folder / "measurements").mkdir(parents=True, exist_ok=True)
    for one in measurements:
        if "file" in one and not (folder / one["file"]).exists():
            shutil.copy(FILES[one["kind"]], folder / one["file"])
    if "price" not in tables and (folder / "prices.csv").exists():
        text += '\n[price]\npaid = 329.00\ncurrency = "USD"\nindex = "prices.csv"\n'
    if "price" in tables and not (folder / tables["price"]["index"]).exists():
        shutil.copy(SAMPLE / "prices.csv", folder / tables["price"]["index"])
    for recording in (sound[side] for sound in tables.get("sound", []) for side in ("before", "after")):
        (folder / recording).parent.mkdir(exist_ok=True)
        soundfile.write(folder / recording, np.random.default_rng(1).normal(0, 0.01, 8000 * 15), 8000)
    if photo := tables.get("episode", {}).get("photo"):
        Image.new("RGB", (640, 360), "grey").save(folder / photo)
    return text


def test_the_example_of_a_studio_and_of_a_session_in_it(say, tmp_path):
    studio, session = (block.text for page, block in EXAMPLES if page == "studio" and block.language == "toml")
    for name, text in {"studio.toml": studio, "forty/session.toml": session}.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    shutil.copy(SAMPLE / "prices.csv", tmp_path)
    Image.new("RGB", (200, 200), "grey").save(tmp_path / "mark.png")
    said = say("check", tmp_path / "forty")
    assert (said.status, said.err) == (0, "")
    said = say("check", tmp_path / "forty", "--explain", "words_per_minute")
    assert said.out == "episode.words_per_minute = 140  ../studio.toml:18\n"
    assert_built(say("build", tmp_path / "forty"), tmp_path / "forty")


def test_every_block_is_an_example_that_is_tried():
    for page, block in EXAMPLES:
        known = block.language in ("toml", "sh") or block.name in (*READERS, "studio.toml") or block.name == "messages"
        files = block.name.startswith(("measurements/", "templates/"))
        assert known or files or block.text.startswith(("my-session/", "studio/")), (
            f"{page}: {block.language} {block.name}"
        )
    assert {block.name for _, block in NAMED} >= set(READERS)
    assert len(TOML) >= len(KINDS) + 5


# of each page the first is built in every run, which is to pass the check, too
TOML_BUILT = [n for n, (page, _) in enumerate(TOML) if page not in {p for p, _ in TOML[:n]}]


@pytest.mark.parametrize(
    ("page", "text"), [pytest.param(*each, id=f"{each[0]}-{n}") for n, each in enumerate(TOML) if n not in TOML_BUILT]
)
def test_every_example_of_session_toml_passes_check(page, text, say, tmp_path):
    folder = tmp_path / "session"
    folder.mkdir()
    written(folder, page)
    (folder / "session.toml").write_text(completed(text, folder), encoding="utf-8")
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    if "[[measurement]]" in text:
        assert "nothing wrong; 0 figures" not in said.out


def assert_built(said: Any, folder: Path, measured: Sequence[Mapping[str, Any]] = ()) -> None:
    """A build that had nothing to complain of, with figures and a card for each of these measurements."""
    assert (said.status, said.err) == (0, "")
    assert (folder / "out/episode.html").stat().st_size
    cards = sorted((folder / "out/cards").glob("*.png"))
    for card in cards:
        with Image.open(card) as picture:
            assert picture.size == (1920, 1080)
    found = json.loads((folder / "out/findings.json").read_text(encoding="utf-8")).get("findings", [])
    for one in measured:
        name = one.get("card") or one.get("id") or Path(one["file"]).stem
        assert [finding for finding in found if finding["kind"] == one["kind"]]
        assert [card for card in cards if re.fullmatch(rf"\d\d-{name}(-\w+)?", card.stem)]


@pytest.mark.parametrize(
    ("page", "text"),
    [
        pytest.param(*each, id=f"{each[0]}-{n}", marks=() if n in TOML_BUILT else pytest.mark.long)
        for n, each in enumerate(TOML)
    ],
)
def test_every_example_of_session_toml_builds(page, text, say, tmp_path):
    folder = tmp_path / "session"
    folder.mkdir()
    written(folder, page)
    (folder / "session.toml").write_text(completed(text, folder), encoding="utf-8")
    measured = [one for one in tomllib.loads(text).get("measurement", []) if "kind" in one]
    assert_built(say("build", folder), folder, measured)


@pytest.mark.parametrize(("page", "block"), NAMED, ids=[f"{page}-{block.name}" for page, block in NAMED])
def test_every_example_of_a_file_is_read(page, block, tmp_path):
    if block.name in READERS:
        assert READERS[block.name](block.text)
    elif block.name.startswith("measurements/readings"):
        (tmp_path / "file.csv").write_text(block.text, encoding="utf-8")
        assert len(read_any(tmp_path / "file.csv", "file.csv").readings) == len(block.text.splitlines()) - 1


OF_A_FILM = sorted({page for page, block in NAMED if block.name in ("notes.txt", "final.txt")})


@pytest.mark.parametrize("page", OF_A_FILM)
def test_the_examples_of_notes_repair_and_cut_fit_the_sample(page, say, sample_copy):
    written(sample_copy, page)
    said = say("check", sample_copy)
    assert (said.status, said.err) == (0, "")
    assert "no card" not in said.out
    assert ("no final.txt" in said.out) == (page != "cut")


@pytest.mark.long
@pytest.mark.parametrize("page", OF_A_FILM)
def test_the_sample_builds_with_the_examples_of_notes_repair_and_cut(page, say, sample_copy):
    written(sample_copy, page)
    assert_built(say("build", sample_copy), sample_copy)


def test_the_example_of_a_template_is_filled_in(say, session_of):
    folder = session_of(UNIT + '[[rated]]\nquantity = "damping factor"\nat_least = 60\n')
    written(folder, "templates")
    said = say("build", folder)
    assert (said.status, said.err) == (0, "")
    made = (folder / "out" / "comment.txt").read_text(encoding="utf-8")
    assert made.startswith("Norrvale Forty: every figure of this episode")
    assert "not measured" in made


def test_every_shape_of_a_price_index_is_read():
    shapes = re.findall(r"^\| `(\w+,index)` \| `([\w.,-]+)` \|$", section("files", "prices.csv"), re.MULTILINE)
    assert len(shapes) == 3
    for header, row in shapes:
        assert parse_prices(f"{header}\n{row}\n", "prices.csv")


def test_the_messages_that_are_shown_are_those_that_are_given(say, session_of):
    (block,) = (block for _, block in EXAMPLES if block.name == "messages")
    rated = '[[rated]]\nquantity = "damping factor"\nat_least = "60 W"\n'
    measured = '[[measurement]]\nkind = "crosstalk"\nfile = "measurements/crosstalk.csv"\ndrive = 10\n'
    said = say("check", session_of(UNIT + rated + measured))
    assert said.status == 2
    for line in block.text.splitlines():
        place, _, message = line.partition(": ")
        assert re.fullmatch(r"session\.toml:\d+", place)
        assert f": {message}\n" in said.err


@pytest.mark.parametrize("name", ["README.md", *PAGES])
def test_every_line_of_a_shell_example_can_be_run(name, readme):
    for block in blocks(PAGES.get(name, readme)):
        if block.language != "sh":
            continue
        checked = subprocess.run(["bash", "-n", "-c", block.text], capture_output=True, text=True, check=False)
        assert checked.returncode == 0, checked.stderr
        for line in block.text.splitlines():
            program, *arguments = shlex.split(line, comments=True)
            if program == "reviewkit":
                argument_parser.make_parser().parse_args(arguments)  # exits where something is wrong


@pytest.mark.parametrize("name", PAGES)
def test_every_key_with_a_value_is_one_that_a_session_has(name):
    known = {key for table in TABLES.values() for key in schema_of(table).examples()}
    for line in re.findall(r"`([a-z_]+ = [^`]+)`", without_blocks(PAGES[name])):
        assert set(tomllib.loads(line)) <= known, line


# ------------------------------------------------------------------ the two commands


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
            assert ((CHECKOUT / name).parent / target.split("#")[0]).exists(), target


# ------------------------------------------------------------------ DEVELOPERS.md


def test_every_file_that_developers_md_names_exists(developers):
    places = [CHECKOUT / top for top in ("", "reviewkit", "tests", "templates", "sample_session")]
    places += [path for path in (CHECKOUT / "reviewkit").rglob("*") if path.is_dir()]
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


# what a format calls itself, by an address that is never fetched: SVG and schema.org
NAMES = {"http:" + "//www.w3.org/2000/svg", "https:" + "//schema.org"}


def test_every_address_is_documented_prose_or_a_licence():
    """Nothing is fetched, so no source file and no template needs an address."""
    for path in own_files():
        if path.suffix in (".py", ".j2", ".html", ".toml", ".csv", ".txt"):
            for address in re.findall(
                r"https?:" + r"//[^\s\"'<>)]+", path.read_text(encoding="utf-8", errors="replace")
            ):
                reserved = address.startswith("https:" + "//example.org/")  # for examples: RFC 2606, from memory
                reserved |= address in NAMES
                assert reserved or path.is_relative_to(CHECKOUT / "tests"), f"{path.relative_to(CHECKOUT)}: {address}"


def test_the_demonstration_says_that_it_is_invented(readme):
    for text in (readme, (CHECKOUT / "sample_session" / "session.toml").read_text(encoding="utf-8")):
        assert "invented" in text
        assert "Norrvale" in text

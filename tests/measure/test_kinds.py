"""What every kind of measurement owes: one file, its words, its place on the help page and in the sample session."""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit.build import pipeline
from reviewkit.episode.chapters import ASKED
from reviewkit.ingest.measurement_file import read_measurement
from reviewkit.ingest.session.session_file import TABLES
from reviewkit.ingest.session.session_schema import schema_of
from reviewkit.ingest.sheet.sheet_header import ROLE_UNITS
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places, quantities
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Point, Run
from reviewkit.model.gear_names import LIMIT_OF
from reviewkit.model.ratings import RULES, own_name
from reviewkit.model.session import Measurement
from reviewkit.render.pages.page import Pages

ROLES = {*ROLE_UNITS, "reading"}
STAGES = ("ingest", "render")


def module_of(kind: str, checkout: Path) -> Path:
    return checkout / "reviewkit" / "measure" / f"{kind.replace('-', '_')}.py"


@pytest.fixture(scope="module")
def runs(episode, checkout) -> list[Run]:
    """Those of the sample session, and of the small ones for other gear."""
    others = sorted((checkout / "sample_session").glob("*/session.toml"))
    return [*episode.runs, *(run for other in others for run in pipeline.check(other.parent).runs)]


def test_every_file_is_a_kind_and_every_kind_a_file(checkout):
    # what kinds share is in files beside theirs, which define no KIND
    files = {
        path.stem
        for path in (checkout / "reviewkit" / "measure").glob("*.py")
        if re.search(r"^KIND\b.*=", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert files == {kind.replace("-", "_") for kind in KINDS}


@pytest.mark.parametrize("name", KINDS)
def test_it_goes_by_its_files_name(name, checkout):
    kind = KINDS[name]
    assert kind.name == name
    for function in (kind.findings, kind.card, kind.points):
        assert Path(function.__code__.co_filename).name == module_of(name, checkout).name


@pytest.mark.parametrize("name", KINDS)
def test_it_says_what_it_is(name):
    kind = KINDS[name]
    assert kind.title.strip()
    assert len(kind.about.split()) >= 5
    assert kind.about[-1] != "."  # one line, put into a list
    assert "\n" not in kind.about
    assert kind.needs
    for alternative in kind.needs:
        assert set(alternative) <= ROLES
        assert len(set(alternative)) == len(alternative)


@pytest.mark.parametrize("name", KINDS)
def test_its_words_are_there(name, checkout):
    assert (checkout / "templates" / "words" / f"{name}.j2").read_text(encoding="utf-8").strip()


@pytest.mark.parametrize("name", KINDS)
def test_the_help_page_describes_it(name, checkout):
    """Under a heading of its own."""
    page = (checkout / "templates" / "help" / "kinds.md").read_text(encoding="utf-8")
    assert re.search(rf"^## {re.escape(name)}$", page, re.MULTILINE)


@pytest.mark.parametrize("name", KINDS)
def test_a_sample_session_has_one(name, runs):
    """The amplifier's, or a small one below it for other gear; with a table in session.toml or without one."""
    assert name in {run.conditions.measurement.kind for run in runs}


@pytest.mark.parametrize("name", KINDS)
def test_its_titles_are_worded(name):
    """Its question, and a fault and a repair unless its figures have no better and worse."""
    facts = {"kind": name, "picture": "", "channel": "L", "settings": ()}
    words = Pages(Path("no-such-folder"), places.templates()).title_words(Point("titles", "plain", facts))
    assert set(words) == ({"question", "fault", "repair"} if KINDS[name].compared else {"question"})


@pytest.mark.parametrize("name", KINDS)
def test_its_own_test_compares_its_card_with_a_file(name, checkout):
    tests = checkout / "tests" / "measure" / f"test_{name.replace('-', '_')}.py"
    assert "\ndef test_the_card_holds_what_the_file_says():" in tests.read_text(encoding="utf-8")


def test_each_rated_name_has_one_recipe_and_each_kind_a_chapter():
    """Of the maker's own names, those that a kind measures; the others are read by meter."""
    recipes = [rated for kind in KINDS.values() for rated in kind.recipes]
    assert len(set(recipes)) == len(recipes)
    assert set(RULES) <= set(recipes)
    assert set(recipes) - set(RULES) <= {own_name(shown) for shown in LIMIT_OF}
    assert {kind.asks for kind in KINDS.values()} == set(ASKED)


def test_what_kinds_share_is_told_apart():
    """Each key belongs to a session.toml, each pattern compiles, no two kinds claim the same signal."""
    assert {key for kind in KINDS.values() for key in kind.keys} <= set(schema_of(TABLES["measurement"]).examples())
    assert all(re.compile(kind.file_words) for kind in KINDS.values() if kind.file_words)
    signals = [kind.signal for kind in KINDS.values() if kind.signal]
    assert len(set(signals)) == len(signals)
    assert {kind.against for kind in KINDS.values()} <= {*KINDS, ""}


@pytest.mark.parametrize("name", KINDS)
def test_it_imports_no_neighbour_and_opens_no_file(name, checkout):
    """Inside functions too. matplotlib and jinja2 belong to render/."""
    tree = ast.parse(module_of(name, checkout).read_text(encoding="utf-8"))
    imported: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported |= {f"{node.module}.{alias.name}" for alias in node.names} | {str(node.module)}
        elif isinstance(node, ast.Import):
            imported |= {alias.name for alias in node.names}
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("open", "print")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            assert node.func.attr not in ("read_text", "read_bytes", "write_text", "write_bytes", "open")
    neighbours = {f"reviewkit.measure.{other.replace('-', '_')}" for other in KINDS}
    forbidden = (*(f"reviewkit.{stage}" for stage in STAGES), "matplotlib", "jinja2", "PIL")
    assert not [each for each in imported if each.startswith(forbidden) or each in neighbours]


@pytest.mark.parametrize("name", KINDS)
def test_the_samples_figures_are_in_the_one_table(name, runs):
    own = [run for run in runs if run.conditions.measurement.kind == name]
    found = [finding for run in own for finding in run.findings]
    assert found
    for finding in found:
        # single readings may also stand under a name of the user's own
        if name != "reading" or finding.quantity in quantities.QUANTITIES:
            assert finding.unit == quantities.QUANTITIES[finding.quantity].unit
        assert finding.kind == name
        assert finding.channel in ("L", "R", "L>R", "R>L", "both", "")
        assert finding.source
        assert type(finding.value) is float


@pytest.mark.parametrize("name", KINDS)
def test_its_card_and_its_points_follow_from_the_sample(name, runs):
    """A card with readings or rows, and facts that its words are named for."""
    own = [run for run in runs if run.conditions.measurement.kind == name]
    card = KINDS[name].card(own[:1], ())
    assert card.body
    facts = [point for run in own for point in KINDS[name].points(run, None)]
    assert facts
    assert {point.kind for point in facts} == {name}
    assert {point.measurement for point in facts} <= {run.conditions.measurement.id for run in own}


@pytest.mark.parametrize("name", KINDS)
def test_each_of_the_samples_points_is_worded(name, runs):
    pages = Pages(places.templates(), places.templates())
    for run in runs:
        if run.conditions.measurement.kind == name:
            for point in KINDS[name].points(run, None):
                assert pages.sentences(point), (run.conditions.measurement.id, point.name)


@pytest.mark.parametrize("name", KINDS)
def test_the_curves_that_travel_cannot_be_changed(name, runs):
    curves = [curve for run in runs if run.conditions.measurement.kind == name for curve in run.curves]
    assert bool(curves) == (name != "reading")
    for curve in curves:
        assert curve.x.shape == curve.y.shape == (len(curve.x),)
        assert not curve.x.flags.writeable
        assert not curve.y.flags.writeable


def test_cards_come_in_the_order_of_the_list(episode, runs):
    """All but the pair of what changed most, which comes before them with its verdict."""
    kind_of = {run.conditions.measurement.card: run.conditions.measurement.kind for run in runs}
    shown = [kind_of[card.id] for card in episode.cards if card.id in kind_of]
    own = {run.conditions.measurement.kind for run in episode.runs}
    assert set(shown) == own
    assert {run.conditions.measurement.kind for run in runs} == set(KINDS)
    assert shown[1:] == sorted(shown[1:], key=list(KINDS).index)


@pytest.mark.parametrize("header", ["Noise level (dBV)", "Crosstalk (dB)", "Residual (dBV)"])
@pytest.mark.parametrize("kind", ["response", "phono", "contour"])
def test_a_level_of_something_else_is_no_level_of_the_output(kind, header, tmp_path):
    (tmp_path / "m.csv").write_text(f"Frequency (Hz),{header}\n20,-90\n1000,-91\n20000,-92\n")
    m = Measurement(id="m", kind=kind, file="m.csv", card="m")
    with pytest.raises(InputError, match=re.escape(f'"{header}" is ')) as caught:
        read_measurement(tmp_path, m, KINDS[kind])
    proposed = f'columns = {{ level = "{header}" }}'
    assert str(caught.value).endswith(proposed)
    # as proposed, it is read; and so is one of another kind without it
    told = replace(m, columns={"level": header})
    assert read_measurement(tmp_path, told, KINDS[kind]).rows == 3
    assert read_measurement(tmp_path, replace(m, kind="crosstalk"), KINDS["crosstalk"]).rows == 3

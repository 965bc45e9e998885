"""The plan as it is printed: plan.md, plan.html, the terminal, and the command that makes them."""

from __future__ import annotations

import base64
import hashlib
import os
import pty
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from rated_and_found import rated, session

from reviewkit.commands.plan_table import format_table, format_text
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.session import Session, Unit
from reviewkit.plan.plan import make_plan
from reviewkit.render.pages import plan_page
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_words import PlanWords, table_rows
from reviewkit.verdict.verdict import judge

ONLY_RATED = """[unit]
maker = "Norrvale"
model = "Forty"

[[rated]]
quantity = "power"
at_least = "40 W"
load = "8 ohm"
thd = "0.05 %"
band = ["20 Hz", "20 kHz"]
channels = "both"

[[rated]]
quantity = "response"
within = "0.5 dB"
band = ["10 Hz", "35 kHz"]
input = "aux"
"""
HOSTILE = '<script>alert(1)</script> "quoted" & *starred* [x](http://example.invalid)'


class Read(HTMLParser):
    """What a page holds: its tags with their attributes, and its text in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self.in_style = False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.in_style = tag in ("style", "script")

    def handle_endtag(self, tag):
        self.in_style = False

    def handle_data(self, data):
        if not self.in_style:
            self.pieces.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.pieces).split())

    def boxes(self) -> list[bool]:
        """Every box in order, and whether the session has ticked it."""
        return [a["class"] == "box done" for tag, a in self.tags if (a.get("class") or "").split(" ")[0] == "box"]


def words_of(of: Session) -> PlanWords:
    columns = {name: kind.about for name, kind in KINDS.items()}
    return plan_page.describe_plan(make_plan(of, [], judge(of, []), [], columns, repaired=False), pages())


def pages() -> Pages:
    return Pages(places.templates(), places.templates())


@pytest.fixture(scope="module")
def sample_plan(episode) -> PlanWords:
    verdicts = judge(episode.session, episode.runs)
    columns = {name: kind.about for name, kind in KINDS.items()}
    made = make_plan(episode.session, episode.runs, verdicts, episode.repair, columns, repaired=True)
    return plan_page.describe_plan(made, pages())


# ------------------------------------------------------------------ the page


def test_the_page_is_self_contained_and_runs_its_own_script_only(sample_plan):
    text = plan_page.render_plan(sample_plan, pages())["plan.html"].decode()
    page = Read(text)
    tags = {tag for tag, _ in page.tags}
    assert not tags & {"link", "img", "iframe", "object", "embed", "form", "base"}
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    (policy,) = [a["content"] for tag, a in page.tags if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-")
    assert f"'sha256-{digest}'" in policy
    for _, attributes in page.tags:
        assert not {"src", "href", "srcset", "action"} & set(attributes)
        assert not [name for name in attributes if name.startswith("on")]
    assert not re.search(r"url\(|@import|https?:", text)
    assert "@media print" in text
    assert [tag for tag, _ in page.tags].count("h1") == 1


def test_the_page_has_a_box_for_every_line_and_ticks_what_is_held(sample_plan):
    page = Read(plan_page.render_plan(sample_plan, pages())["plan.html"].decode())
    steps = [step for block in (*sample_plan.cold, *sample_plan.hot) for step in block.steps]
    lines = [*sample_plan.as_it_came, *sample_plan.gate]
    expected = [line.done for line in lines] + [False] * len(sample_plan.prepare)
    expected += [step.done for block in sample_plan.cold for step in block.steps] + [False]  # preconditioning
    expected += [step.done for block in sample_plan.hot for step in block.steps]
    expected += [line.done for line in (*sample_plan.going_back, *sample_plan.ratings)]
    assert page.boxes() == expected
    markdown = plan_page.render_plan(sample_plan, pages())["plan.md"].decode()
    assert [mark == "x" for mark in re.findall(r"^- \[([x ])\]", markdown, re.MULTILINE)] == expected
    assert len(steps) >= 10


def test_the_cautions_come_first_then_what_cannot_be_undone_then_the_gate(sample_plan):
    page = Read(plan_page.render_plan(sample_plan, pages())["plan.html"].decode()).text
    order = [*sample_plan.first_cautions, sample_plan.as_it_came[0].text, sample_plan.gate[0].text]
    order += [sample_plan.prepare[0], sample_plan.cold[0].steps[0].what, sample_plan.hot[0].steps[0].what]
    order += [sample_plan.going_back[0].text]
    places_of = [page.index(" ".join(text.split())) for text in order]
    assert places_of == sorted(places_of)


def test_names_from_outside_are_text_and_nothing_else():
    of = replace(
        session(replace(rated("flatness", within=(-0.5, 0.5)), input=HOSTILE, source=HOSTILE)),
        unit=Unit(HOSTILE, HOSTILE, HOSTILE),
    )
    made = plan_page.render_plan(words_of(of), pages())
    page = Read(made["plan.html"].decode())
    assert [tag for tag, _ in page.tags].count("script") == 1
    assert page.text.count("<script>alert(1)</script>") >= 3
    prose = re.sub(
        r"^    .*$", "", made["plan.md"].decode(), flags=re.MULTILINE
    )  # what is to be copied stands as it is
    assert "<script>" not in prose
    assert re.search(r"(?<!\\)\[x\]\(http", prose) is None
    assert r"\*starred\*" in prose


# ------------------------------------------------------------------ the sample


def test_the_sample_is_ticked_by_its_verdicts(sample_plan, episode):
    verdicts = judge(episode.session, episode.runs)
    assert len(sample_plan.ratings) == len(verdicts) >= 10
    for line, verdict in zip(sample_plan.ratings, verdicts, strict=True):
        assert line.label == verdict.label
        assert line.done or verdict.verdict not in ("meets", "falls short")
        if verdict.verdict in ("meets", "falls short"):
            # one number, one place: the table's own words
            assert verdict.measured in line.text
            assert all(name in line.text for name in verdict.measurements)
    left = {line.word for line in sample_plan.ratings if not line.done}
    assert left == {"too close to call", "not measured"}
    (open_step,) = [s for b in sample_plan.cold for s in b.steps if not s.done]
    assert open_step.serves == ("Gain, main in",)
    assert [line.done for line in sample_plan.gate if line.notes] == [True] * 5
    assert sample_plan.stop == ()


def test_the_sample_is_driven_to_what_its_ratings_ask_for(sample_plan):
    # 17.89 V is 40 W into 8 Ω, 15.49 V is 60 W into 4 Ω: √(P·R)
    hot = " ".join(step.level for block in sample_plan.hot for step in block.steps)
    for text in ("40 W into 8 Ω, 17.89 V", "60 W into 4 Ω is 15.49 V"):
        assert text in hot
    assert sample_plan.hot[-1].setup.startswith("input aux · 4 Ω")


# ------------------------------------------------------------------ the command


def test_a_session_with_ratings_and_nothing_else_has_a_whole_plan(session_of, say):
    folder = session_of(ONLY_RATED)
    said = say("plan", folder)
    assert (said.status, said.err) == (0, "")
    assert said.out.splitlines()[0] == "Plan: Norrvale Forty"
    assert said.out.splitlines()[1].startswith("! ")
    for text in (
        "[ ]  1 response",
        "40 W into 8 Ω, 17.89 V",
        "two dummy loads",
        "Response, 10 Hz – 35 kHz, aux: Not measured",
    ):
        assert text in said.out
    assert sorted(p.name for p in (folder / "out").iterdir() if p.suffix in (".md", ".html")) == [
        "plan.html",
        "plan.md",
    ]
    markdown = (folder / "out" / "plan.md").read_text(encoding="utf-8")
    assert 'kind = "distortion-power"' in markdown
    assert 'load = "8 ohm"' in markdown


def test_what_new_makes_has_a_plan_that_says_what_to_write(say, tmp_path):
    folder = tmp_path / "my-session"
    assert say("new", folder).status == 0
    said = say("plan", folder)
    assert (said.status, said.err) == (0, "")
    assert "ratings.txt" in said.out
    markdown = (folder / "out" / "plan.md").read_text(encoding="utf-8")
    assert "Write down what the maker printed" in markdown
    assert "No loudspeaker connected" in markdown
    assert "    Power output: 40 W per channel into 8 ohms" in markdown
    # what it says to write is taken
    example = markdown.partition("Write down what the maker printed")[2]
    written = "\n".join(re.findall(r"^    (.*)$", example, re.MULTILINE))
    (folder / "ratings.txt").write_text(written, encoding="utf-8")
    assert "1 rating: 1 not measured." in say("plan", folder).out


def test_the_plan_touches_nothing_else_in_out(session_of, say):
    folder = session_of(ONLY_RATED)
    assert say("build", folder).status == 0
    there = {p: p.read_bytes() for p in (folder / "out").rglob("*") if p.is_file()}
    mine = folder / "out" / "notes-of-mine.txt"
    mine.write_text("mine", encoding="utf-8")
    assert say("plan", folder).status == 0
    assert mine.read_text(encoding="utf-8") == "mine"
    after = {p: p.read_bytes() for p in (folder / "out").rglob("*") if p.is_file() and p != mine}
    assert after == there  # plan.md and plan.html among them: the build wrote the same


def test_a_session_that_is_wrong_gets_no_plan(session_of, say):
    folder = session_of(ONLY_RATED.replace('"40 W"', '"40"'))
    said = say("plan", folder)
    assert said.status == 2
    assert 'at_least = "40" has no unit; write "40 W"' in said.err
    assert not (folder / "out").exists()


def test_an_out_that_cannot_be_written_is_told(session_of, say):
    folder = session_of(ONLY_RATED)
    (folder / "out").write_text("a file where the folder would be", encoding="utf-8")
    said = say("plan", folder)
    assert said.status == 1
    assert "could not finish" in said.err


def test_a_template_of_the_users_own_is_used_and_its_fault_told(session_of, say):
    folder = session_of(ONLY_RATED, {"templates/plan.md.j2": "{{ plan.name }}: {{ plan.cold | length }}\n"})
    assert say("plan", folder).status == 0
    assert (folder / "out" / "plan.md").read_text(encoding="utf-8") == "Norrvale Forty: 1\n"
    (folder / "templates" / "plan.md.j2").write_text("one\n{{ plan.nme }}\n", encoding="utf-8")
    said = say("plan", folder)
    assert said.status == 2
    assert "templates/plan.md.j2:2" in said.err
    assert "nme" in said.err


# ------------------------------------------------------------------ the terminal


def test_a_terminal_gets_a_table_of_its_width(sample_plan):
    plain = re.sub(r"\x1b\[[0-9;]*m", "", format_table(sample_plan, 100))
    lines = plain.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0] == "Plan: Norrvale Forty, integrated amplifier, 1977"
    assert lines[1].startswith("! ")
    squeezed = re.sub(r"[\s│┃]+", "", plain)
    for box, number, *_ in table_rows(sample_plan):
        assert f"{box}{number}".replace(" ", "") in squeezed
    assert "17.89V" in squeezed


def test_text_for_other_programs_has_no_drawing_and_no_colour(sample_plan):
    text = format_text(sample_plan)
    assert not re.search(r"[\x1b│┃─]", text)
    assert text.index("! ") < text.index("go or no-go") < text.index("[x]")
    assert text.count("[ ]") == 2


def test_the_command_draws_its_table_on_a_terminal_only(session_of):
    folder = session_of(ONLY_RATED)
    command = [sys.executable, "-m", "reviewkit", "plan", str(folder)]
    ours, theirs = pty.openpty()
    ran = subprocess.run(command, cwd=places.templates().parent, stdout=theirs, stderr=theirs, check=False)
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 65536):
            shown += piece
    except OSError:
        pass  # the other end is closed
    os.close(ours)
    assert ran.returncode == 0
    assert "capture" in shown.decode()
    assert "│" in shown.decode()


def test_all_that_is_shown_is_written_by_the_templates(session_of, say):
    folder = session_of(ONLY_RATED, {"templates/words/plan.j2": "{{ name }}\n"})
    said = say("plan", folder)
    assert said.status == 0
    assert "response: response" in said.out
    assert "Photograph" not in (Path(folder) / "out" / "plan.md").read_text(encoding="utf-8")

"""Templates, pages and the chapters."""

from __future__ import annotations

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.model import places
from reviewkit.model.episode import Chapter
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Finding, Point
from reviewkit.render.pages import page
from reviewkit.render.pages.page import Pages, format_web_vtt, render_markdown
from reviewkit.render.pages.template_environment import escape_markdown_cell, replace_angle_brackets
from reviewkit.verdict.spec_table import TableRow

CAUTIONS = ["This is one repair, not a how-to."]


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A session's own templates folder, empty."""
    folder = tmp_path / "templates"
    (folder / "words").mkdir(parents=True)
    return folder


@pytest.fixture
def pages(own: Path) -> Pages:
    return Pages(own, places.templates())


def outline_facts(**keys):
    facts = {
        "title": "Norrvale Forty",
        "unit": SimpleNamespace(name="Norrvale Forty", what="", year=None),
        "presenter": "",
        "total_s": 10.0,
        "words_per_minute": "150",
        "final": False,
        "always": CAUTIONS,
        "segments": [],
        "page_only": [],
    }
    return facts | keys


# ------------------------------------------------------------------ chapters.vtt


STAMP = re.compile(r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})")
ENTITY = re.compile(r"&(?:amp|lt|gt|lrm|rlm|nbsp|#\d+|#x[0-9a-fA-F]+);")


def cues(text: str) -> list[tuple[float, float, str]]:
    """The cues of a WebVTT chapters file, read after the W3C's WebVTT syntax (sections 4.1 and 4.3, from memory);
    AssertionError where it is not one.
    """
    assert "\r" not in text.replace("\r\n", "")
    assert "\0" not in text
    header, _, rest = text.removeprefix("\ufeff").partition("\n")
    assert re.fullmatch(r"WEBVTT([ \t].*)?", header)
    assert "-->" not in header
    assert rest.startswith("\n")
    found: list[tuple[float, float, str]] = []
    identifiers = set()
    for block in re.split(r"\n{2,}", rest.strip("\n")):
        lines = block.split("\n")
        if re.match(r"NOTE([ \t]|$)", lines[0]):
            assert "-->" not in block
            continue
        if "-->" not in lines[0]:
            assert lines[0] not in identifiers
            identifiers.add(lines.pop(0))
        start, arrow, stop = lines[0].partition(" --> ")
        assert arrow
        times = []
        for stamp in (start, stop):
            match = STAMP.fullmatch(stamp)
            assert match, stamp
            hours, minutes, seconds, thousandths = (int(group or 0) for group in match.groups())
            times.append(3600 * hours + 60 * minutes + seconds + thousandths / 1000)
        # a chapter title is one line of text: no "-->", each & begins an entity, no tag
        (title,) = lines[1:]
        assert title.strip()
        assert "-->" not in title
        assert "<" not in title
        assert ENTITY.sub("", title).count("&") == 0
        assert times[1] > times[0]
        if found:
            assert times[0] >= found[-1][0]
            # chapters nest or follow one another, never overlap in part
            assert times[0] >= found[-1][1] or times[1] <= found[-1][1]
        found.append((*times, re.sub(r"&lt;", "<", title).replace("&gt;", ">").replace("&amp;", "&")))
    assert found
    return found


@pytest.mark.parametrize(
    "wrong",
    [
        "WEBVTT\n1\n00:00:00.000 --> 00:00:01.000\nx\n",
        "WEBVTT\n\n1\n00:00:00.00 --> 00:00:01.000\nx\n",
        "WEBVTT\n\n1\n00:00:00,000 --> 00:00:01,000\nx\n",
        "WEBVTT\n\n1\n00:00:00.000-->00:00:01.000\nx\n",
        "WEBVTT\n\n1\n00:00:02.000 --> 00:00:01.000\nx\n",
        "WEBVTT\n\n1\n00:00:00.000 --> 00:00:01.000\na & b\n",
        "WEBVTT\n\n1\n00:00:00.000 --> 00:00:01.000\n<b>\n",
        "WEBVTT\n\n1\n00:00:00.000 --> 00:00:05.000\nx\n\n2\n00:00:04.000 --> 00:00:09.000\ny\n",
        "WEBVTT\n\n1\n00:60:00.000 --> 01:00:01.000\nx\n",
        "WEBVTT\n\n1\n00:00:00.000 --> 00:00:01.000\n\n",
    ],
)
def test_the_reader_of_chapters_refuses_what_is_wrong(wrong):
    with pytest.raises((AssertionError, ValueError)):
        cues(wrong)


def test_chapters_follow_one_another():
    chapters = (Chapter(0.0, "Opening"), Chapter(72.0, "The front"), Chapter(3725.5, "Closing"))
    text = format_web_vtt(chapters, 3800.0, "planned: put the final cut's times into final.txt")
    assert cues(text) == [(0.0, 72.0, "Opening"), (72.0, 3725.5, "The front"), (3725.5, 3800.0, "Closing")]
    assert "\n\nNOTE planned" in text
    assert "00:00:00.000 --> 00:01:12.000\nOpening\n" in text
    assert "NOTE" not in format_web_vtt(chapters, 3800.0, "")


def test_signs_of_the_format_are_escaped():
    chapters = (Chapter(0.0, "Caps & coils <i>1 --> 2</i> &amp;"), Chapter(10.0, "End"))
    assert [title for _, _, title in cues(format_web_vtt(chapters, 20.0, ""))] == [c.title for c in chapters]


def test_the_last_chapter_ends_after_it_begins():
    assert cues(format_web_vtt((Chapter(0.0, "a"), Chapter(30.0, "b")), 12.0, ""))[-1][:2] == (30.0, 31.0)
    assert len(cues(format_web_vtt((Chapter(0.0, "a"),), 10.0, ""))) == 1


@given(
    st.lists(
        st.tuples(
            st.integers(1, 4_000_000), st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S", "Zs"]))
        ),
        min_size=1,
        max_size=12,
    )
)
def test_any_chapters_make_a_valid_file(parts):
    at, chapters = 0, []
    for length_ms, title in parts:
        chapters.append(Chapter(at / 1000, f"x{title.strip()}"))
        at += length_ms
    read = cues(format_web_vtt(chapters, at / 1000, ""))
    assert [title for _, _, title in read] == [c.title for c in chapters]
    assert [start for start, _, _ in read] == [pytest.approx(c.start_s, abs=6e-4) for c in chapters]
    assert read[-1][1] == pytest.approx(at / 1000, abs=1.1)


def test_the_sample_sessions_chapters(sample):
    assert len(cues(sample.text("chapters.vtt"))) >= 3


# ------------------------------------------------------------------ signs


HOSTILE = "<b>&\"'</b> > x"


@given(st.text(max_size=80))
def test_plain_signs_hold_for_any_text(text):
    assert not set("<>") & set(replace_angle_brackets(text))


# ------------------------------------------------------------------ templates of the user's own


def test_a_sessions_own_template_is_used(own, pages):
    (own / "outline.md.j2").write_text("# mine: {{ title }}\n")
    assert pages.text("outline.md.j2", **outline_facts()) == "# mine: Norrvale Forty\n"


def test_without_one_the_shipped_template_is_used(pages):
    assert pages.text("outline.md.j2", **outline_facts()).startswith("# Norrvale Forty\n")


def test_a_sessions_own_words_are_used_and_the_other_words_stay(own, pages):
    (own / "words" / "tone.j2").write_text(
        '{% from "words/phrases.j2" import setting %}\n   It   hums at {{ name }}. \n\n'
    )
    assert pages.sentences(Point("tone", "a kilohertz", {})) == ["It hums at a kilohertz."]


def test_a_word_of_the_phrases_can_be_replaced_too(own, pages):
    (own / "words" / "phrases.j2").write_text("{% macro setting(text) %}({{ text }}){% endmacro %}")
    (own / "words" / "tone.j2").write_text('{% from "words/phrases.j2" import setting %}{{ setting("flat") }}')
    assert pages.sentences(Point("tone", "x", {})) == ["(flat)"]


@pytest.fixture(scope="module")
def fault_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Fault]:
    """What a text is refused with as a template. One process for all of them."""
    folder = tmp_path_factory.mktemp("faults") / "templates"
    folder.mkdir()
    template = folder / "outline.md.j2"
    template.write_text("", encoding="utf-8")
    pages = Pages(folder, places.templates())

    def refused(text: str, encoding: str = "utf-8", **facts: object) -> Fault:
        template.write_bytes(text.encode(encoding))
        with pytest.raises(InputError) as raised:
            pages.text(template.name, **outline_facts(**facts))
        (fault,) = raised.value.faults
        return fault

    return refused


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("one\n{{ titel }}\n", 2, "'titel' is undefined"),
        ("{{ unit.nam }}", 1, "nam"),
        ("a\nb\n{% for x in y %}{% endfor %}", 3, "'y' is undefined"),
        ("{% if title %}\nnever closed", 2, "endif"),
        ("a\n{{ title | shout }}", 2, "shout"),
        ("a\n{{ title ", 2, ""),
        ("a\n\n{{ 1 / 0 }}", 3, "division"),
        ("{{ title + 1 }}", 1, ""),
        ("a\n{{ title | hertz }}", 2, ""),
        ("\n{{ '{} {}'.format(title) }}", 2, ""),
        ("{{ {}['x'] + '' }}", 1, "x"),
        ("{{ range(10**9) | length }}", 1, "Range"),
    ],
)
def test_a_fault_of_a_template_names_template_line_and_what_is_wrong(fault_of, text, line, said):
    fault = fault_of(text)
    assert fault.source == "templates/outline.md.j2"
    assert fault.line == line
    assert said in fault.message


def test_a_fault_in_the_users_words_names_that_file(pages, own):
    (own / "words" / "tone.j2").write_text("\n{{ nothing }}\n")
    with pytest.raises(InputError) as raised:
        pages.sentences(Point("tone", "x", {}))
    assert str(raised.value).startswith("templates/words/tone.j2:2: 'nothing' is undefined")


def test_a_template_that_is_not_there_or_outside(fault_of):
    for name in ("not-there.j2", "../session.toml", "/etc/hosts"):
        fault = fault_of(f'{{% include "{name}" %}}')
        assert name in fault.message


def test_a_template_that_includes_itself(fault_of):
    fault = fault_of('{% include "outline.md.j2" %}')
    assert fault.source == "templates/outline.md.j2"


def test_a_template_that_is_no_text(fault_of):
    fault = fault_of("höhe", encoding="cp1252")
    assert fault.source == "templates/outline.md.j2"
    assert "UTF-8" in fault.message


@pytest.mark.parametrize(
    "escape",
    [
        "{{ ''.__class__ }}",
        "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "{{ ''['__class__'].__base__ }}",
        "{{ (''|attr('__class__')).__mro__ }}",
        "{{ unit.__class__.__init__.__globals__ }}",
        "{{ cycler.__init__.__globals__ }}",
        "{{ self.__init__.__globals__ }}",
        "{{ '{0.__class__.__mro__}'.format(title) }}",
        "{{ lipsum.__globals__['os'].popen('true').read() }}",
        "{{ always.append('x') }}",
        "{{ always.clear() }}",
    ],
)
def test_a_template_gets_at_nothing_but_what_it_is_given(fault_of, escape):
    given_to_it = list(CAUTIONS)
    assert fault_of(escape, always=given_to_it).source == "templates/outline.md.j2"
    assert given_to_it == CAUTIONS


def test_a_fault_of_ours_is_not_laid_to_the_user(pages):
    # jinja2's own error, as no template of the session's is at fault
    with pytest.raises(Exception, match="is undefined") as raised:
        pages.text("outline.md.j2")
    assert not isinstance(raised.value, InputError)


def test_cautions_by_topic(own, pages):
    found = pages.cautions()
    assert {"open", "repair", "power", "all"} <= set(found)
    everything = " ".join(sentence for several in found.values() for sentence in several).lower()
    # the usual cautions, in plain words
    for word in (
        "mains",
        "isolat",
        "capacitors",
        "current-limited",
        "hot",
        "ground clip",
        "hearing",
        "not a how-to",
        "qualified",
    ):
        assert word in everything


def test_cautions_of_the_users_own(own, pages):
    (own / "words" / "cautions.j2").write_text("open: Mind: the fan.\nnothing here\nall:\n")
    assert pages.cautions() == {"open": ["Mind: the fan."]}


# ------------------------------------------------------------------ pages


class Tags(HTMLParser):
    """Every tag with its attributes, and the text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.seen = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.seen += data


def tags(html: str) -> Tags:
    read = Tags()
    read.feed(html)
    return read


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "<SCRIPT SRC=x></SCRIPT>",
        '<img src=x onerror="alert(1)">',
        '<p onclick="alert(1)">x</p>',
        "[x](javascript:alert(1))",
        "[x](JaVaScRiPt:alert(1))",
        "[x](data:text/html;base64,PHNjcmlwdD4=)",
        "![x](javascript:alert(1))",
        '<a href="&#106;avascript:alert(1)">x</a>',
        "<iframe src='x'></iframe>",
        "<style>p { background: url(x) }</style>",
        '<p style="background: url(x)">x</p>',
        "<svg onload=alert(1)>",
        "<object data=x></object><embed src=x><form action=x></form>",
        "<base href='x'><link rel=stylesheet href=x><meta http-equiv=refresh content=0>",
    ],
)
def test_markdown_becomes_html_that_runs_nothing(text):
    for place in (text, f"| a |\n| --- |\n| {text} |\n"):
        read = tags(render_markdown(place))
        for tag, attributes in read.tags:
            assert tag not in {
                "script",
                "style",
                "iframe",
                "object",
                "embed",
                "form",
                "base",
                "link",
                "meta",
                "svg",
                "input",
            }
            assert not [name for name in attributes if name.startswith("on") or name == "style"]
            for name in ("href", "src"):
                assert not re.match(r"\s*(javascript|data|vbscript):", attributes.get(name) or "", re.IGNORECASE)


def test_markdown_tables_stay_tables():
    read = tags(render_markdown("| a | b |\n| :--- | ---: |\n| 1 | 2 |\n"))
    assert [tag for tag, _ in read.tags] == ["table", "thead", "tr", "th", "th", "tbody", "tr", "td", "td"]


@given(st.text(st.characters(codec="utf-8", exclude_characters="&"), max_size=40))
def test_any_text_stands_in_its_cell_as_it_was_written(text):
    # control characters have no place in HTML, and stand for nothing on a page
    text = "".join(sign for sign in text if sign.isprintable())
    read = tags(render_markdown(f"| what |\n| --- |\n| x{escape_markdown_cell(text)}x |\n"))
    assert [tag for tag, _ in read.tags] == ["table", "thead", "tr", "th", "tbody", "tr", "td"]
    assert " ".join(read.seen.split()) == " ".join(f"what x{' '.join(text.split())}x".split())


@pytest.mark.parametrize("text", ["&lt;b&gt;", "AT&T", "caps & coils", "&copy;"])
def test_an_ampersand_is_no_entity_in_a_cell(text):
    assert text in tags(render_markdown(f"| a |\n| --- |\n| {escape_markdown_cell(text)} |\n")).seen


def hostile_segment():
    beat = {"cards": ["01-x"], "note": HOSTILE, "place": HOSTILE, "sentences": [HOSTILE, HOSTILE], "hold_s": 6.0}
    beat["sounds"] = [{"file": "sounds/x-both.wav", "what": HOSTILE, "length_s": 2.4, "said": HOSTILE}]
    return {"title": HOSTILE, "start_s": 0.0, "length_s": 10.0, "flag": HOSTILE, "cautions": [HOSTILE], "beats": [beat]}


def test_pages_escape_what_they_are_given(pages):
    row = TableRow(HOSTILE, HOSTILE, f"{HOSTILE} ", HOSTILE, HOSTILE, HOSTILE, HOSTILE, promised=HOSTILE)
    picture = {"name": "01-x", "alt": HOSTILE, "wide": "x", "square": "x", "dial": True}
    sizes = [(2560, 700), (1080, 860)]
    lead = {"photo": "", "price": None, "what": HOSTILE, "alt": HOSTILE, "wide": "x", "narrow": "x", "sizes": sizes}
    sides = [{"part": "before", "what": HOSTILE, "length_s": 2.4, "data": "AAAA"}]
    html = pages.text(
        "episode.html",
        title=HOSTILE,
        hook=HOSTILE,
        unit=SimpleNamespace(name=HOSTILE, what=HOSTILE, year=1977),
        presenter=HOSTILE,
        lead=lead,
        lead_words=[HOSTILE],
        story=[
            {
                "title": HOSTILE,
                "cautions": [HOSTILE],
                "parts": [{"paragraphs": [(HOSTILE, [HOSTILE] * count) for count in (1, 5)], "cards": ["01-x"]}],
            }
        ],
        few=3,
        pictures={"01-x": picture},
        tally={"judged": 2, "met": 1, "missed": 1, "undecided": 0, "ratings": 2, "verdicts": ["meets", HOSTILE]},
        film=HOSTILE,
        film_s=61.0,
        rating=4.5,
        link={"page": HOSTILE, "picture": HOSTILE},
        structured="{}",
        policy="default-src 'none'",
        type=[(400, "AAAA")],
        copied=HOSTILE,
        measured=[(HOSTILE,) * 3],
        foot=[HOSTILE],
        rows=[row],
        ordered_rows=[row],
        findings=[(HOSTILE,) * 5],
        withheld=[HOSTILE],
        equipment=[HOSTILE],
        cautions=[HOSTILE],
        sound_cautions=[HOSTILE],
        sounds=[{"title": HOSTILE, "said": HOSTILE, "sides": sides}],
    )
    read = tags(html)
    assert "b" not in {tag for tag, _ in read.tags}
    assert read.seen.count(HOSTILE) == 44
    assert [attributes["aria-label"] for tag, attributes in read.tags if tag == "audio"] == [f"{HOSTILE}, {HOSTILE}"]
    assert [attributes["alt"] for tag, attributes in read.tags if tag == "img"] == [HOSTILE, HOSTILE]
    assert [attributes["srcset"] for tag, attributes in read.tags if tag == "source"] == ["x", "x"]
    assert {attributes["content"] for tag, attributes in read.tags if attributes.get("property", "")[:8] == "og:title"}


def test_the_prompter_escapes_what_it_is_given(pages):
    html = pages.text(
        "prompter.html",
        title=HOSTILE,
        always=[HOSTILE],
        segments=[hostile_segment()],
        words_per_minute="150",
        titles={"01-x": HOSTILE},
        held={"01-x": "6 s"},
        thumbnails={"01-x": "AAAA"},
    )
    read = tags(html)
    assert "b" not in {tag for tag, _ in read.tags}
    assert sum(tag == "script" for tag, _ in read.tags) == 1
    assert HOSTILE not in html


def test_pages_load_nothing_from_elsewhere(sample):
    for name in ("episode.html", "spec-table.html"):
        text = sample.text(name)
        for tag, attributes in tags(text).tags:
            assert tag not in {"link", "iframe", "object", "embed"}
            assert tag != "script" or attributes == {"type": "application/ld+json"}
            assert not [a for a in attributes if a.startswith("on")]
            for key in ("src", "srcset", "action", "poster", *([] if tag == "a" else ["href"])):
                assert (attributes.get(key) or "data:").startswith(("data:", "#"))
        assert not re.search(r"url\(\s*['\"]?(?!data:)|@import", text)


def test_finding_rows():
    f = Finding("thd", "R", 0.0213, "%", {"frequency": 1000.0, "power": 5.0, "load": 8.0}, "tone", "tone", "", "x.csv")
    assert page.finding_rows([f]) == [("THD", "right", "0.021 %", "1 kHz, 5 W into 8 Ω", "tone")]
    assert page.finding_rows([]) == []

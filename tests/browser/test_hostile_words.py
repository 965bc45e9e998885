"""Words that would be script, markup or a formula somewhere, at every place of a session where words stand: on every
page in a real browser, and in every file of text, they are words and nothing else.
"""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass

import markdown
import pytest
from browsing import Watched, opened
from hidden_tags import HIDDEN

from reviewkit.commands import cli
from reviewkit.model import places
from reviewkit.model.spoken import sentence
from reviewkit.render.pages import page_policy

pytestmark = pytest.mark.long

# Each would set `hit`, ask a network for something, or change what the page is, in one place or another: as an element,
# within an attribute of either quotes or none, within a script, a style, a title or a comment, as an address, as
# Markdown, as a template, as what a parser takes apart or puts together. After the usual collections, from memory.
WORDS = [
    "<script>hit=1</script>",
    "</script><script>hit=1</script>",
    "</style><script>hit=1</script>",
    "</title><script>hit=1</script>",
    "<!--<script>hit=1//-->",
    "--><script>hit=1</script><!--",
    "]]><script>hit=1</script>",
    "<scr<script>ipt>hit=1</script>",
    "<SCRIPT SRC=http://example.org/x.js></SCRIPT>",
    "<script />hit=1</script />",
    "<img src=x onerror=hit=1>",
    "<img src=`x` onerror=hit=1//",
    '"><img src=x onerror=hit=1>',
    "'><img src=x onerror=hit=1>",
    '" autofocus onfocus="hit=1" x="',
    "' onmouseover='hit=1' x='",
    "x onload=hit=1 y",
    "<svg onload=hit=1>",
    "<svg><script>hit=1</script></svg>",
    "<svg><a xlink:href=javascript:hit=1><text>x</text></a></svg>",
    "<math><mtext></mtext><style><img src=x onerror=hit=1></style></math>",
    "<details open ontoggle=hit=1>",
    "<input autofocus onfocus=hit=1>",
    "<iframe srcdoc='<script>top.hit=1</script>'></iframe>",
    "<iframe src=javascript:top.hit=1></iframe>",
    "<object data=javascript:hit=1></object><embed src=http://example.org/x>",
    "<base href=http://example.org/><link rel=stylesheet href=x.css>",
    "<meta http-equiv=refresh content='0;url=http://example.org/'>",
    "<form action=http://example.org/><button formaction=javascript:hit=1>x",
    "<style>@import 'http://example.org/x.css'; * {display:none}</style>",
    "<p style=\"background:url('http://example.org/x.png')\">",
    "<a href=javascript:hit=1>x</a>",
    "<a href='&#106;avascript:hit=1'>x</a>",
    "javascript:hit=1",
    "data:text/html,<script>hit=1</script>",
    "<plaintext>",
    "<textarea><xmp><noscript><template>",
    "[x](javascript:hit=1)",
    "[x](JaVa\u00adScript:hit=1) ![x](http://example.org/x.png)",
    '![x](x" onerror="hit=1)',
    "<javascript:hit=1> <http://example.org/>",
    "`</code><script>hit=1</script>`",
    "**bold** _slanted_ ~~gone~~ # no head",
    "{{ 7 * 7 }} {% raw %} {# gone #} ${hit=1} <%= hit %>",
    "&lt;script&gt;hit=1&lt;/script&gt; &#60;b&#62; &amp; &copy &nbsp;",
    "\uff1cscript\uff1ehit=1\uff1c/script\uff1e \u02bahit\u02ba",
    "a | b | c \\| d \\",
    '=HYPERLINK("http://example.org/?"&A1)',
    "+1+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "\uff1d1+1",
]
# what stands in one place alone, or on a card, is made of several of them
SHORT = [
    "<script>hit=1</script>",
    '"><img src=x onerror=hit=1>',
    "'><svg onload=hit=1>",
    "</script><!--",
    "{{ 7*7 }} |*_`",
]


def toml(text):
    """A text as it is written in TOML."""
    signs = {"\\": "\\\\", '"': '\\"', "\t": "\\t"}
    return '"' + "".join(signs.get(sign, sign) for sign in text) + '"'


def session():
    script, double, single, closing, other = SHORT
    equipment = ",\n".join(map(toml, WORDS))
    rated = "".join(
        f'[[rated]]\nquantity = "response"\nwithin = "{n + 1} dB"\nband = ["20 Hz", "20 kHz"]\nsource = {toml(word)}\n'
        for n, word in enumerate(SHORT)
    )
    return f"""
[unit]
maker = {toml(script)}
model = {toml(double)}
what = {toml(single + other)}
year = 1977

[bench]
load = "8 ohm"
input = {toml(closing)}
equipment = [
{equipment}]

[episode]
title = {toml(script + double + single + closing + other)}
presenter = {toml(closing + double)}

[look]
presenter = {toml(other)}

{rated}
[[rated]]
quantity = "separation"
at_least = "50 dB"
input = {toml(double)}
source = {toml(other)}

[[rated]]
quantity = "input sensitivity"
at_most = "150 mV"
power = "40 W"
input = {toml(single)}

[[measurement]]
id = "one"
kind = "response"
file = {toml(FILE)}
title = {toml(script)}
setting = {toml(double + " " + other)}
columns = {{ frequency = 1, left = 2, right = 3 }}
stage = "after"

[[measurement]]
id = "two"
kind = "crosstalk"
file = "measurements/two.csv"
title = {toml(single)}
setting = {toml(closing)}
input = {toml(single)}
driven = "L"
stage = "after"
"""


FILE = "measurements/'\"><img src=x onerror=hit=1>{{ 7 }}.csv"
HEADER = 'Frequency (Hz),"<script>hit=1</script> L (dB)","""><img src=x onerror=hit=1> R (dB)"\n'
ROWS = "".join(f"{20 * 2**n},{-0.1 * n:.1f},{-0.1 * n:.1f}\n" for n in range(11))


def notes():
    lines = ['clip "><img src=x onerror=hit=1>.mp4']
    lines += [f"0:{second:02d} {word}" for second, word in enumerate(WORDS)]
    lines += ["clip <script>hit=1</script>.mp4", "0:00 before: <script>hit=1</script>", "0:01 ontoggle: ![x](x)"]
    return "\n".join(lines) + "\n"


def repair():
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow(["point", "expected", "found", "unit", "tolerance", "action", "note"])
    for word in SHORT:
        writer.writerow([word, 1, "open", "V", "10 %", word, word])
        writer.writerow([f"Bias {word}", 1, "short", "V", "10 %", "", ""])  # stops the plan
    return table.getvalue()


@dataclass(frozen=True)
class Files:
    session: str
    notes: str
    repair: str


def write(folder, files):
    texts = {
        "session.toml": files.session,
        "notes.txt": files.notes,
        "repair.csv": files.repair,
        FILE: HEADER + ROWS,
        "measurements/two.csv": "Frequency (Hz),L (dB),R (dB)\n" + ROWS.replace(",-0.0\n", ",-60\n"),
    }
    for name, text in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """A session whose every word is hostile, built."""
    folder = write(tmp_path_factory.mktemp("hostile") / "session", Files(session(), notes(), repair()))
    assert cli.run(["build", str(folder), "--quiet"]) == 0
    return folder


# ------------------------------------------------------------------ pages

PAGES = ("episode.html", "prompter.html", "plan.html", "spec-table.html")
FOUND = """() => {
    const all = [...document.querySelectorAll("*")];
    const attributes = all.flatMap((element) => [...element.attributes].map((one) => [element.localName, one]));
    return {
        hit: window.hit ?? null,
        scripts: [...document.scripts].filter((script) => !script.type).map((script) => script.textContent),
        data: [...document.scripts].filter((script) => script.type).map((script) => script.textContent),
        tags: [...new Set(all.map((element) => element.localName))],
        attributes: [...new Set(attributes.map(([tag, one]) => `${tag} ${one.name}`))],
        addresses: attributes.filter(([, one]) => ["href", "src", "data", "action", "srcdoc"].includes(one.name))
            .map(([tag, one]) => `${tag} ${one.value.slice(0, 120)}`),
        text: document.body.textContent,
        alts: [...document.images].map((image) => image.alt).join(" "),
        title: document.title,
    };
}"""


def found_in(page, address):
    page.on("dialog", lambda dialog: pytest.fail(f"a dialog says {dialog.message}"))
    page.goto(address)
    # what would begin by itself, or by a hand that comes by
    page.evaluate("""() => document.querySelectorAll("*").forEach((element) => {
        for (const kind of ["mouseover", "focus", "toggle", "load", "error", "animationstart"])
            element.dispatchEvent(new Event(kind));
    })""")
    return page.evaluate(FOUND)


def one_line(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def known(browser, sample):
    """What a page of the sample session is made of."""
    pages = {}
    for name in PAGES:
        with opened(browser, 1280, 720) as page:
            pages[name] = found_in(page, (sample.out / name).as_uri())
    return pages


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_made_of_nothing_that_came_with_the_words(hostile, known, page, name):
    found = found_in(page, (hostile / "out" / name).as_uri())
    assert found["hit"] is None
    assert found["scripts"] == known[name]["scripts"]
    assert set(found["tags"]) <= set(known[name]["tags"])
    assert set(found["attributes"]) <= set(known[name]["attributes"])
    assert not [one for one in found["attributes"] if one.split()[1].startswith("on")]
    assert all(re.match(r"\w+ (#|data:image/(svg\+xml,<svg|png;base64,))", address) for address in found["addresses"])
    assert len(found["data"]) == len(known[name]["data"]) == (name == "episode.html")
    for text in found["data"]:  # read as JSON by what reads it; no words have ended it
        review = json.loads(text)
        assert review["@type"] == "Review"
        assert review["itemReviewed"]["brand"]["name"] in [one_line(word) for word in (*SHORT, *WORDS)]


SHOWN = {
    "episode.html": [*WORDS, *SHORT, FILE],
    "prompter.html": [*WORDS, *SHORT[1:4]],
    "plan.html": SHORT,
    "spec-table.html": SHORT,
}


@pytest.mark.parametrize("name", PAGES)
def test_every_word_stands_on_the_page_as_it_was_written(hostile, page, name):
    found = found_in(page, (hostile / "out" / name).as_uri())
    text = one_line(" ".join((found["text"], found["alts"], found["title"])))
    said = one_line(sentence(text))
    for word in SHOWN[name]:
        # what begins a note may be its segment, and is its title then
        shown = one_line(word.removeprefix("javascript:").removeprefix("data:"))
        assert shown in text or sentence(shown) in said, word


# ------------------------------------------------------------------ the page of watch


@pytest.mark.parametrize("editing", [False, True])
def test_the_desk_takes_words_for_words_and_so_do_its_messages(hostile, browser, tmp_path, editing):
    pytest.importorskip("watchfiles", reason="needs watchfiles: pip install -e '.[test]'")
    pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")
    folder = write(tmp_path / "<img src=x onerror=hit=1>", Files(session(), notes(), repair()))
    watched = Watched(folder, editing=editing)
    try:
        with opened(browser, 1280, 720) as page:
            right = found_in(page, watched.address)
            assert all(one_line(word) in one_line(right["text"]) for word in SHORT[:4])
            unknown = "".join(f'[[measurement]]\nfile = "a.csv"\nkind = {toml(word)}\n' for word in WORDS[:15])
            watched.save("session.toml", session() + unknown)
            page.wait_for_selector("#faults")
            wrong = page.evaluate(FOUND)
            assert wrong["text"].count("hit=1") > 15
            assert "<script>hit=1</script>" in wrong["text"]
            watched.save("session.toml", session())
            watched.save("notes.txt", "".join(f"{word}\n" for word in WORDS))
            page.wait_for_selector("#faults :text('notes.txt')")
            notes_wrong = page.evaluate(FOUND)
            page.goto("about:blank")
            for found in (right, wrong, notes_wrong):
                assert found["hit"] is None
                assert len(found["scripts"]) == 1
                assert not {"math", "iframe", "object", "base", "a x"} & set(found["tags"])
                assert not [one for one in found["attributes"] if one.split()[1].startswith("on")]
                own = rf"\w+ ({re.escape(watched.address)}(preview/|out/|desk\.)|#|data:,)"
                assert all(re.match(own, address) for address in found["addresses"])
    finally:
        watched.end()


# ------------------------------------------------------------------ files of text


def test_no_reader_of_markdown_makes_script_of_what_was_noted(hostile, page):
    for name in ("outline.md", "plan.md", "spec-table.md"):
        text = (hostile / "out" / name).read_text(encoding="utf-8")
        html = markdown.markdown(text, extensions=["tables", "sane_lists"])
        tags = set(re.findall(r"<(\w+)", html))
        assert tags <= set("h1 h2 h3 p ul li em strong code pre blockquote br table thead tbody tr th td".split())
        assert "<!--" not in html
        page.set_content(html)
        found = page.evaluate(FOUND)
        assert (found["hit"], found["scripts"], found["addresses"]) == (None, [], [])


def test_tables_keep_their_columns(hostile):
    lines = (hostile / "out" / "spec-table.md").read_text(encoding="utf-8").splitlines()
    table = [line for line in lines if line.startswith("|")]
    assert len(table) == 2 + 8
    assert {len(re.findall(r"(?<!\\)\|", line)) for line in table} == {6}
    rows = list(csv.reader(io.StringIO((hostile / "out" / "spec-table.csv").read_text(encoding="utf-8"), newline="")))
    assert len(rows) == 1 + 8
    assert {len(row) for row in rows} == {6}
    # nor is one of them a formula: the signs that begin one are those of test_tables.py
    assert not [cell for row in rows for cell in row if cell.strip()[:1] in tuple("=+-@\uff1d\uff0b\uff0d\uff20")]
    assert rows[1][4] == "'+0.44 dB"


def test_what_goes_under_the_video_holds_no_tags_and_a_line_for_each_thing(hostile):
    for name in ("description.txt", "comment.txt"):
        text = (hostile / "out" / name).read_text(encoding="utf-8")
        assert not set("<>") & set(text)
        assert "‹script›hit=1‹/script›" in text
    lines = (hostile / "out" / "description.txt").read_text(encoding="utf-8").splitlines()
    shown = [word.replace("<", "‹").replace(">", "›").strip() for word in WORDS]
    assert [line for line in lines if line.strip() in shown][: len(WORDS)] == lines[lines.index("Equipment") + 1 :][
        : len(WORDS)
    ]


# ------------------------------------------------------------------ templates of a stranger's own


AT_THE_START = [
    "",
    "<script>hit=1</script>",
    "<!-- x -->",
    "<html onload=hit=1>",
    "<body onload=hit=1>",
    "<!DOCTYPE x>",
]


@pytest.mark.parametrize("start", AT_THE_START)
def test_a_page_that_got_by_can_still_run_and_load_nothing(browser, start, tmp_path):
    """What is refused is refused by a reader that is no browser; so a browser is told as well."""
    policy = "<head><meta http-equiv=Content-Security-Policy content=\"script-src * 'unsafe-inline'\"></head>"
    own = policy + " ".join(word for word in WORDS if "plaintext" not in word and "refresh" not in word)
    (tmp_path / "page.html").write_text(page_policy.guard(start + own, places.templates()), encoding="utf-8")
    context = browser.new_context()
    page = context.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    found = found_in(page, (tmp_path / "page.html").as_uri())
    context.close()
    assert found["hit"] is None
    assert found["scripts"]  # they are there, and did not run
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


def test_no_page_that_is_let_through_leads_away(browser, tmp_path):
    """A policy does not stop what leads away. What would is refused, wherever a browser sees it."""
    (tmp_path / "away.html").write_text("away", encoding="utf-8")
    context = browser.new_context()
    opened = []
    for number, hidden in enumerate(["TAG", *HIDDEN]):
        own = hidden.replace("TAG", "<meta http-equiv=refresh content=0;url=away.html>")
        html = page_policy.guard(f"<html><head><title>x</title></head><body>{own}", places.templates())
        (tmp_path / f"page{number}.html").write_text(html, encoding="utf-8")
        page = context.new_page()
        page.goto((tmp_path / f"page{number}.html").as_uri(), wait_until="commit")
        opened.append((page, html))
    opened[-1][0].wait_for_timeout(2000)  # one wait for all of them
    led_away = [html for page, html in opened if page.url.endswith("/away.html")]
    context.close()
    assert [html for html in led_away if not page_policy.find_forbidden(html, places.templates())] == []
    assert len(led_away) > 15  # those that only other browsers follow are refused too

"""Templates of a session's own, from a stranger: they get at nothing, they come to an end, and no page of theirs does
more than it may.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest
from hidden_tags import HIDDEN

from reviewkit.build import pipeline
from reviewkit.model import places
from reviewkit.model.errors import CannotFinish, InputError
from reviewkit.render.pages import own_templates, page, page_policy, plan_page, text_outputs
from reviewkit.render.pages.episode_page import PagePictures, render_episode_page
from reviewkit.render.pages.own_templates import Limits
from reviewkit.render.pages.page import Pages

NAME = "outline.md.j2"
SHIPPED = places.templates()
SHORT = Limits(longest_s=1.0, memory=200_000_000, output=6_000_000)
LATEST_S = (
    6.0  # the limit, a second more for what does not stop by itself, and the start of a process on a busy machine
)


@pytest.fixture
def own(tmp_path):
    folder = tmp_path / "templates"
    (folder / "words").mkdir(parents=True)
    return folder


@pytest.fixture
def made(own):
    """What a template makes, or the fault that it is refused with."""
    return lambda text, name=NAME, **facts: text_or_fault(Pages(own, SHIPPED), own, text, name, facts)


@pytest.fixture(scope="module")
def made_by_one(tmp_path_factory):
    """The same by one process for all."""
    folder = tmp_path_factory.mktemp("by-one") / "templates"
    folder.mkdir()
    for name in (NAME, "spec-table.html"):  # which pages are the session's own is settled when the process begins
        (folder / name).write_text("", encoding="utf-8")
    pages = Pages(folder, SHIPPED)
    return lambda text, name=NAME, **facts: text_or_fault(pages, folder, text, name, facts)


def text_or_fault(pages, folder, text, name, facts):
    (folder / name).write_text(text, encoding="utf-8")
    try:
        return pages.text(name, title="Norrvale", **facts)
    except InputError as error:
        (fault,) = error.faults
        return fault


@pytest.fixture(scope="module")
def limited(tmp_path_factory):
    """The same within short limits, and by one process for all, as far as it lives."""
    folder = tmp_path_factory.mktemp("limited") / "templates"
    folder.mkdir()
    (folder / NAME).write_text("", encoding="utf-8")
    pages = Pages(folder, SHIPPED, limits=SHORT)
    pages.text(NAME)

    def make(text):
        (folder / "outline.md.j2").write_text(text, encoding="utf-8")
        return fault_of(pages)

    yield make
    # whatever was asked of it, the next text is made
    (folder / NAME).write_text("as ever", encoding="utf-8")
    assert pages.text(NAME) == "as ever"


def fault_of(pages, name=NAME, **facts):
    """What a template is refused with, or None where it is not."""
    try:
        pages.text(name, **facts)
    except InputError as error:
        (fault,) = error.faults
        return fault
    return None


# ------------------------------------------------------------------ how much it may do


LONG = "x" * 200_000
TO_THE_END = "{% for a in range(9999) %}" + LONG + "{% endfor %}"
GROW = "{% set s = namespace(x=BEGIN) %}{% for i in range(60) %}{% set s.x = NEXT %}{% endfor %}{{ s.x }}"


def growing(begin, after):
    return GROW.replace("BEGIN", begin).replace("NEXT", after)


TIME = "takes longer than 1 s; make it do less"
MEMORY = "takes more than 200 MB of memory; make it do less"
OUTPUT = "makes more than 6 MB; make it do less"
DEEP = "this template includes itself, or goes too deep; leave that include, call or loop out"
EITHER = "; make it do less"  # whichever limit is met first, on a quick machine or a slow one
TOO_MUCH = {
    "a text times a number": ("{{ 'a' * 10**9 }}", MEMORY),
    "a number times a text": ("{{ 10**12 * 'a' }}", MEMORY),
    "a list times a number": ("{{ ([0] * 10**9) | length }}", MEMORY),
    "a power of a power": ("{{ (10 ** (10 ** 10)) % 7 }}", TIME),
    "a large number divided again and again": (
        "{% set n = 20000000 %}{% set x = 2**n - 1 %}{% set z = 3**(n // 4) - 1 %}"
        "{% for a in range(99999) %}{% if x // z == 1 %}{% endif %}{% endfor %}",
        TIME,
    ),
    "the same, written out": ("{% set x = 2**20000000 - 1 %}{{ x }}", "digits"),
    "a number of many digits": ("{{ 10 ** 5000 }}", "digits"),
    "figures to be spoken": ("{{ ('1.' * 9999999) | spoken | length }}", EITHER),
    "a huge title": ("{{ ('ab ' * 20000000) | title | length }}", EITHER),
    "many words wrapped": ("{{ ('ab ' * 9999999) | wordwrap(1) | length }}", EITHER),
    "a range": ("{{ range(10**9) | list }}", "Range too big"),
    "ranges in ranges": ("{{ range(99999) | map('list') | list }}", "not iterable"),
    "lists of ranges": (growing("[]", "s.x + [range(99999) | list]"), EITHER),
    "loops without end": ("{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}", TIME),
    "loops that write": ("{% for a in range(99999) %}{% for b in range(99999) %}x{% endfor %}{% endfor %}", EITHER),
    "a loop that writes much": (TO_THE_END, EITHER),
    "a loop that writes somewhat too much": ("{% for a in range(35) %}" + LONG + "{% endfor %}", OUTPUT),
    "the same, kept": ("{% set y %}" + TO_THE_END + "{% endset %}", EITHER),
    "the same, in a filter": ("{% filter upper %}" + TO_THE_END + "{% endfilter %}", EITHER),
    "the same, in a macro": ("{% macro f() %}" + TO_THE_END + "{% endmacro %}{{ f() }}", EITHER),
    "the same, in a block": ("{% block b %}" + TO_THE_END + "{% endblock %}", EITHER),
    "a macro that calls itself": ("{% macro f(n) %}{{ f(n + 1) }}{% endmacro %}{{ f(0) }}", DEEP),
    "a macro that calls itself twice": (
        "{% macro f(n) %}{% if n %}{{ f(n - 1) }}{{ f(n - 1) }}{% endif %}{% endmacro %}{{ f(60) }}",
        TIME,
    ),
    "a loop within itself": (
        "{% for x in [1] recursive %}{% if loop.depth < 30 %}{{ loop('ab') }}{% endif %}{% endfor %}",
        TIME,
    ),
    "a template within itself": ("{% include 'outline.md.j2' %}", DEEP),
    "one that extends itself": ("{% extends 'outline.md.j2' %}", DEEP),
    "one that imports itself": ("{% from 'outline.md.j2' import x %}", DEEP),
    "loops in loops": ("{% for a in [1] %}" * 30 + "{% endfor %}" * 30, DEEP),
    "brackets in brackets": ("{{ " + "(" * 5000 + "1" + ")" * 5000 + " }}", DEEP),
    "lists in lists": ("{{ " + "[" * 90000 + "]" * 90000 + " }}", DEEP),
    "a long sum": ("{{ 1" + "+1" * 20_000 + " }}", DEEP),
    "a text put to itself": (growing("'aaaaaaaaaa'", "s.x ~ s.x"), MEMORY),
    "a list added to itself": (growing("[1, 2]", "s.x + s.x"), MEMORY),
    "a list twice in a list": (growing("['ha']", "[s.x, s.x]"), EITHER),
    "a table twice in a table": (growing("{}", "{'a': s.x, 'b': s.x}"), EITHER),
    "texts kept": (
        "{% set s = namespace(x=[]) %}{% for i in range(9999) %}{% set s.x = s.x + ['a' * 99999 ~ i] %}{% endfor %}",
        MEMORY,
    ),
    "a wide number": ("{{ '%10000000000d' % 1 }}", EITHER),
    "a number as wide as another": ("{{ '%*d' % (10**9, 1) }}", MEMORY),
    "a text put into another": ("{{ '{:10000000000}'.format(1) }}", MEMORY),
    "the same, by a table": ("{{ '{x:1000000000}'.format_map({'x': 1}) }}", MEMORY),
    "a text on the left": ("{{ 'a'.ljust(10**10) }}", MEMORY),
    "wide tabs": ("{{ '\t'.expandtabs(10**9) }}", MEMORY),
    "a number as bytes": ("{{ (1).to_bytes(10**9, 'big') }}", MEMORY),
    "a filter for the middle": ("{{ 'a' | center(10**10) }}", MEMORY),
    "a filter that fills": ("{{ [1] | batch(10**9, 'x') | list | length }}", MEMORY),
    "one sign for many": ("{{ ('a' * 100000) | replace('a', 'b' * 100000) }}", MEMORY),
    "many joined by a long one": ("{{ range(99999) | join('x' * 100000) }}", MEMORY),
    "tags taken out one by one": ("{{ ('<!---->' * 9999999) | striptags | length }}", EITHER),
    "many looked for in many": ("{{ range(99999) | select('in', range(99999) | list) | list | length }}", TIME),
    "a file of more than any page": (LONG + LONG, "is over 250 kB, which no template needs; shorten it"),
    "characters that are none": ('{{ "\\ud800" }}', "makes characters that Unicode does not have"),
}


# refused at once; all else goes on until its second is over, and one limit on memory ends all that takes too much
QUICK = [what for what, (_, why) in TOO_MUCH.items() if why in (OUTPUT, DEEP)]
QUICK += ["a text times a number", "a list times a number", "a text put to itself", "texts kept", "a filter that fills"]


@pytest.mark.parametrize(
    "what", [pytest.param(what, marks=() if what in QUICK else pytest.mark.long) for what in TOO_MUCH]
)
def test_a_template_that_does_too_much_is_refused_in_time(limited, what):
    text, why = TOO_MUCH[what]
    begun = time.monotonic()
    fault = limited("\n" + text)
    assert time.monotonic() - begun < LATEST_S
    assert fault.source == "templates/outline.md.j2"
    # on a slow machine the time is over before a limit is met
    assert why in fault.message or fault.message in (TIME, own_templates.UNKNOWN)
    assert fault.line in (0, 2)


def test_a_loop_that_takes_long_is_named_with_its_line(limited):
    fault = limited("\n\n{% for a in range(99999) %}{% for b in range(99999) %}\n{% endfor %}{% endfor %}")
    assert (fault.message, fault.line) in ((TIME, 3), (TIME, 4))


@pytest.mark.long
def test_the_time_promised(made):
    begun = time.monotonic()
    fault = made(TOO_MUCH["a large number divided again and again"][0])
    assert fault.message == "takes longer than 10 s; make it do less"
    assert 9 < time.monotonic() - begun < 15


def test_words_are_no_more_than_anyone_says(made):
    fault = made("{{ 'ha ' * 2000 }}", "words/tone.j2")
    assert fault.message == "makes more than 4,000 characters, which nobody says; make it do less"


def test_a_table_in_markdown_that_takes_long_is_refused(own):
    (own / NAME).write_text("x", encoding="utf-8")
    pages = Pages(own, SHIPPED, limits=SHORT)
    assert pages.html("spec-table.md.j2", "| a |\n| - |\n| b |") == page.render_markdown("| a |\n| - |\n| b |")
    with pytest.raises(InputError, match="takes longer than 1 s"):
        pages.html("spec-table.md.j2", "[" * 20000)


def test_a_large_page_is_made(made):
    assert len(made("µ{{ data }}", data="a" * 50_000_000)) == 50_000_001


def test_what_one_text_takes_is_not_taken_from_the_next(own):
    (own / NAME).write_text("{% for i in range(99999) %}{% endfor %}{{ 'a' * 5000000 }}", encoding="utf-8")
    pages = Pages(own, SHIPPED, limits=Limits(longest_s=3.0, memory=100_000_000))
    assert {len(pages.text(NAME)) for _ in range(20)} == {5_000_000}


ORDINARY = {
    "{{ 2 * 3 }} {{ 'ab' * 2 }} {{ 2 ** 10 }} {{ 7 % 4 }} {{ 1 + 2 }} {{ 'a' + 'b' }}": "6 abab 1024 3 3 ab",
    "{{ '%s of %5.2f' % ('a', 1.5) }} {{ 'a' ~ 1 ~ 'b' }} {{ [1] + [2] }}": "a of  1.50 a1b [1, 2]",
    "{{ (1, 2) }} {{ {'a': 1} }} {{ title | lower | default('-') }}": "(1, 2) {'a': 1} norrvale",
    "{% for x in 'abc' %}{{ loop.index }}/{{ loop.length }}{{ ',' if not loop.last }}{% endfor %}": "1/3,2/3,3/3",
    "{% for x in [1, 2, 3] if x > 1 %}{{ x }}{{ loop.revindex }}{% else %}none{% endfor %}": "2231",
    "{% for a, b in {'x': 1}.items() %}{{ a }}{{ b }}{% endfor %}": "x1",
    "{% for x in [] %}{% else %}none{% endfor %}": "none",
    "{% for x in [[1, [2]]] recursive %}{{ loop(x) if x is iterable else x }}{% endfor %}": "12",
    "{% macro f(a, b=2) %}{{ a }}{{ b }}{{ caller() }}{% endmacro %}{% call f(1) %}c{% endcall %}": "12c",
    "{{ 'a,b'.split(',') | join(' ') }} {{ 'Ab'.upper() }} {{ ' a '.strip() }}": "a b AB a",
    "{{ 'abc' | replace('b', 'x') }} {{ [3, 1, 2] | sort | map('string') | join('<') }}": "axc 1<2<3",
    "{{ [1, 2] | sum }}{{ 'a b' | title | center(7) }}|{{ 1.25 | round(1) }}": "3  A B  |1.2",
    "{{ range(4) | batch(2) | list }} {{ range(5) | select('odd') | list }}": "[[0, 1], [2, 3]] [1, 3]",
    "{% include ['none.j2', 'words/phrases.j2'] %}{% set x %}a{{ title }}{% endset %}{{ x }}": "aNorrvale",
    "{% set s = namespace(n=0) %}{% for i in range(1000) %}{% set s.n = s.n + i %}{% endfor %}{{ s.n }}": "499500",
}


@pytest.mark.parametrize("text", ORDINARY)
def test_what_pages_need_is_made_as_ever(made_by_one, text):
    assert made_by_one(text).strip("\n") == ORDINARY[text]


def every_text(prepared, pages):
    pictures = PagePictures({still.id: {} for still in prepared.episode.stills})
    episode, table = prepared.episode, prepared.series.table
    texts = text_outputs.render_texts(episode, pages, table)
    page = render_episode_page(episode, pages, table, texts.table, pictures, {}, {})
    prompter = text_outputs.render_prompter(episode, pages, {still.id: b"" for still in episode.stills})
    plan = plan_page.render_plan(prepared.plan, pages)
    return {**texts.files, "episode.html": page, "prompter.html": prompter, **plan}


def test_the_shipped_templates_make_the_same_by_either_process(own, prepared):
    copied = (SHIPPED / "words" / "phrases.j2").read_text(encoding="utf-8")
    (own / "words" / "phrases.j2").write_text(copied, encoding="utf-8")
    pages = Pages(own, SHIPPED)
    assert every_text(prepared, pages) == every_text(prepared, prepared.pages)
    assert pages._has_own


# ------------------------------------------------------------------ the process


def test_one_process_makes_all_texts_and_none_is_left(own):
    (own / NAME).write_text("x", encoding="utf-8")
    before = children_of(os.getpid())
    pages = Pages(own, SHIPPED)
    pages.text(NAME)
    (child,) = children_of(os.getpid()) - before
    pages.text(NAME)
    assert children_of(os.getpid()) - before == {child}
    del pages
    assert children_of(os.getpid()) <= before


def test_without_templates_of_its_own_there_is_no_other_process(own):
    (own / "notes.md").write_text("no template", encoding="utf-8")
    before = children_of(os.getpid())
    pages = Pages(own, SHIPPED)
    pages.text("spec-table.html", name="x", table="")
    assert children_of(os.getpid()) <= before


def children_of(pid):
    path = Path(f"/proc/{pid}/task")
    if not path.is_dir():
        pytest.skip("needs /proc to see processes")
    children = set()
    for task in path.iterdir():
        with suppress(FileNotFoundError, ProcessLookupError):  # a thread that has ended since
            children |= {int(child) for child in (task / "children").read_text(encoding="ascii").split()}
    return children


PARENT = """
import sys
from pathlib import Path
from reviewkit.model import places
from reviewkit.render.pages.episode_page import PagePictures, render_episode_page
from reviewkit.render.pages.own_templates import Limits
from reviewkit.render.pages.page import Pages
pages = Pages(Path(sys.argv[1]), places.templates(), limits=Limits(longest_s=float(sys.argv[2])))
pages.text("plan.md.j2")
print("ready", flush=True)
pages.text("outline.md.j2")
"""
BUSY = {
    "in a loop": "{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}",
    # this one never comes back to the interpreter; the system ends it when its time is over
    "in one call": "{% set x = 10 ** (10 ** 10) %}",
}


@pytest.mark.parametrize("what", ["in a loop", pytest.param("in one call", marks=pytest.mark.long)])
def test_it_ends_with_the_process_that_started_it(own, what):
    (own / NAME).write_text(BUSY[what], encoding="utf-8")
    (own / "plan.md.j2").write_text("x", encoding="utf-8")
    longest_s = 60.0 if what == "in a loop" else 1.0
    command = [sys.executable, "-c", PARENT, own, str(longest_s)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as parent:
        parent.stdout.readline()
        (child,) = children_of(parent.pid)
        time.sleep(0.3)
        os.kill(parent.pid, signal.SIGKILL)
    until = time.monotonic() + 20
    while is_running(child) and time.monotonic() < until:
        time.sleep(0.05)
    assert not is_running(child)


def is_running(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


ANSWERS = {
    "nothing": "b''",
    "no answer": "b'garbage'",
    "a text longer than any": "b'T' + (10**12).to_bytes(8, 'big')",
    "a text that is not whole": "b'T' + (9).to_bytes(8, 'big') + b'x'",
    "a text that is no UTF-8": "b'T' + (1).to_bytes(8, 'big') + b'\\xff'",
    "a fault that is none": "b'F' + (2).to_bytes(8, 'big') + b'{}'",
    "a fault of other things": "b'F' + (14).to_bytes(8, 'big') + b'[1, \"x\", null]'",
    "a pickle": "b'F' + (4).to_bytes(8, 'big') + b'\\x80\\x04N.'",
}


@pytest.mark.parametrize("what", ANSWERS)
def test_nothing_but_plain_data_is_accepted_from_it(own, what, monkeypatch):
    """As if a template had got hold of the whole process."""
    (own / NAME).write_text("x", encoding="utf-8")
    ready = "b'R' + bytes(8)"
    program = f"import sys; sys.stdout.buffer.write({ready} + {ANSWERS[what]}); sys.stdout.flush(); sys.stdin.read(9)"
    monkeypatch.setattr(own_templates, "_PROGRAM", program)
    fault = fault_of(Pages(own, SHIPPED))
    assert (fault.source, fault.line, fault.message) == ("templates/outline.md.j2", 0, own_templates.UNKNOWN)


def test_one_that_does_not_start_is_no_fault_of_the_session(own, monkeypatch):
    (own / NAME).write_text("x", encoding="utf-8")
    monkeypatch.setattr(own_templates, "_PROGRAM", "import sys; sys.exit(1)")
    with pytest.raises(CannotFinish, match="did not start"):
        Pages(own, SHIPPED).text(NAME)


def test_where_the_system_does_not_limit_memory_it_is_watched(own, monkeypatch):
    monkeypatch.setattr(own_templates, "MEMORY_IS_LIMITED", False)
    monkeypatch.setattr(
        own_templates,
        "_PROGRAM",
        own_templates._PROGRAM.replace(
            "from reviewkit.render.pages.template_child",
            "import reviewkit.render.pages.own_templates as own\n"
            "own.MEMORY_IS_LIMITED = False\nfrom reviewkit.render.pages.template_child",
        ),
    )
    text = "{% set s = namespace(x=[]) %}{% for i in range(99999) %}{% set s.x = [s.x, 'a' * 99999 ~ i] %}{% endfor %}"
    (own / NAME).write_text(text, encoding="utf-8")
    fault = fault_of(Pages(own, SHIPPED, limits=Limits(longest_s=8.0, memory=100_000_000)))
    assert fault.message == "takes more than 100 MB of memory; make it do less"


# ------------------------------------------------------------------ what it gets at


def parts_of(entry):
    """Everything that a template can reach in what it is given."""
    yield entry
    if isinstance(entry, dict):
        inner = [*entry, *entry.values()]
    elif isinstance(entry, (list, tuple)):
        inner = entry
    elif is_dataclass(entry):
        names = [field.name for field in fields(entry)]
        names += [name for name, made in vars(type(entry)).items() if isinstance(made, property)]
        inner = [getattr(entry, name) for name in names]
    else:
        inner = []
    for part in inner:
        yield from parts_of(part)


def test_a_template_is_given_words_and_figures_and_nothing_that_leads_further(sample, monkeypatch):
    given = []
    real = Pages.text

    def text(self, template, **facts):
        given.append(facts)
        return real(self, template, **facts)

    monkeypatch.setattr(Pages, "text", text)
    again = pipeline.prepare(sample.folder)
    every_text(again, again.pages)
    assert len(given) > 50
    kinds = {type(part) for facts in given for part in parts_of(facts) if not is_dataclass(part)}
    assert kinds <= {str, int, float, bool, type(None), dict, list, tuple}


# ------------------------------------------------------------------ what a page of its own may do


HEAD = "<!DOCTYPE html><html lang=en><head><title>x</title></head><body>"
FORBIDDEN = {
    "<script>hit=1</script>": "<script> of its own",
    "<SCRIPT>hit=1</SCRIPT >": "<script> of its own",
    "<script>if (1 < 2) hit=1": "<script> of its own",
    "<script></script >": "<script> of its own",
    "<script src='data:,hit=1'></script>": "<script>",
    "<script type=module>hit=1</script>": "<script>",
    "<svg><script>hit=1</script></svg>": "<script> of its own",
    "<img src=x onerror=hit=1>": "<img>",
    "<p OnClick='hit=1'>": "<p> with onclick",
    "<svg/onload=hit=1>": "<svg> with onload",
    "<a href='javascript:hit=1'>": "<a> whose href holds something to run",
    "<a href=' \tJava\nScript:hit=1'>": "<a> whose href holds something to run",
    "<a href='&#106;avascript:hit=1'>": "<a> whose href holds something to run",
    "<a href='data:text/html,<script>hit=1</script>'>": "<a> whose href holds something to run",
    "<svg><a xlink:href='javascript:hit=1'>x</a></svg>": "<a> whose href holds something to run",
    "<iframe srcdoc='<script>hit=1</script>'></iframe>": "<iframe>",
    "<object data=x></object>": "<object>",
    "<embed src=x>": "<embed>",
    "<form action=http://example.org/>": "<form>",
    "<base href=http://example.org/>": "<base>",
    "<meta http-equiv='&#82;efresh' content='0;url=http://example.org/'>": "<meta> with http-equiv=Refresh",
    "<link rel=stylesheet href=http://example.org/x.css>": "<link> that loads something from another place",
    "<img src=http://example.org/x.png>": "<img> that loads something from another place",
    "<img src=//example.org/x.png>": "<img> that loads something from another place",
    "<img srcset='http://example.org/x.png 2x'>": "<img> that loads something from another place",
    "<picture><source srcset='data:image/png;base64,AA 1x, http://example.org/x 2x'></picture>": (
        "<source> whose srcset holds something to run"
    ),
    "<picture><source srcset='data:image/png;base64,AA, http://example.org/x'></picture>": (
        "<source> whose srcset holds something to run"
    ),
    "<picture><source srcset='data:text/html,x'></picture>": "<source> whose srcset holds something to run",
    "<script type='application/ld+json' src='x'>{}</script>": "<script>",
    "<script type='application/ld+json' async>{}</script>": "<script>",
    "<script type='application/json'>{}</script>": "<script>",
    "<video src=http://example.org/x.mp4></video>": "<video> that loads something from another place",
    "<svg><image href=http://example.org/x.png /></svg>": "<image> that loads something from another place",
}


def test_a_page_that_would_do_more_is_refused(made_by_one):
    for text in FORBIDDEN:
        check_refusal(made_by_one(HEAD + text, "spec-table.html"), "templates/spec-table.html", text)


@pytest.mark.long
@pytest.mark.parametrize("text", FORBIDDEN)
def test_a_part_of_a_page_that_would_do_more_is_refused(own, text):
    (own / "style.html").write_text(HEAD + text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        Pages(own, SHIPPED).text("spec-table.html", name="x", table="")
    check_refusal(raised.value.faults[0], "templates", text)


def check_refusal(fault, source, text):
    assert fault.source == source
    assert f"makes a {FORBIDDEN[text]}" in fault.message.replace("xlink:", "")  # older parsers leave the prefix out
    assert "so leave it out" in fault.message


def test_words_that_a_page_of_its_own_takes_for_safe_are_refused_too(made):
    fault = made(HEAD + "{{ note | safe }}", "spec-table.html", note="<script>hit=1</script>")
    assert "makes a <script> of its own" in fault.message


ALLOWED = [
    "<a href='#table'>x</a> <a href='https://example.org/'>x</a> <a href='mailto:a@example.org'>x</a>",
    "<img src='data:image/png;base64,AAAA' alt='x'><link rel=icon href='data:,'>",
    "<p style='color: #fff'>x</p><style>p { color: red }</style><svg><use href='#x'/></svg>",
    "<picture><source srcset='data:image/svg+xml,<svg%20/>'><img src='data:,' alt=''></picture>",
    "<script type='application/ld+json'>{}</script>",  # runs nothing, by the HTML standard
    "<figure popover id='x'></figure><button type='button' popovertarget='x'>x</button>",
]


def test_a_tag_is_seen_where_a_browser_sees_it():
    for tag in ["<meta http-equiv=refresh content=0;url=x>", "<img src=http://example.org/x.png>"]:
        for hidden in HIDDEN:
            assert page_policy.find_forbidden(page_policy.guard(HEAD + hidden.replace("TAG", tag), SHIPPED), SHIPPED), (
                hidden,
                tag,
            )


@pytest.mark.parametrize("text", ALLOWED)
def test_what_a_page_shows_is_its_own_affair(made_by_one, text):
    html = made_by_one(HEAD + text, "spec-table.html")
    assert html == page_policy.guard(HEAD + text, SHIPPED)
    assert html.startswith(
        '<!DOCTYPE html>\n<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" content="'
    )


def test_shipped_scripts_may_run_wherever_they_are_put(made, prepared):
    prompter = every_text(prepared, prepared.pages)["prompter.html"].decode()
    html = made("{{ page | safe }}", "spec-table.html", page=prompter)
    assert html == page_policy.guard(prompter, SHIPPED)
    policy = page_policy.script_sources(SHIPPED)
    assert policy.count("'sha256-") == 2
    assert "unsafe" not in policy


def test_without_pages_of_its_own_nothing_is_put_before_a_page(own):
    (own / NAME).write_text("x", encoding="utf-8")
    html = Pages(own, SHIPPED).text("spec-table.html", name="x", table="")
    assert html == Pages(SHIPPED, SHIPPED).text("spec-table.html", name="x", table="")

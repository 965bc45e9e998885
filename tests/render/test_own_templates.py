"""Templates of a session's own, from a stranger: they get at nothing, they come to an end, and no page of theirs does
more than it may.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from reviewkit import pipeline, places
from reviewkit.errors import InputError
from reviewkit.render import outputs, own_templates, page_policy, plan_page
from reviewkit.render.page import Pages

NAME = "outline.md.j2"


@pytest.fixture
def own(tmp_path):
    folder = tmp_path / "templates"
    (folder / "words").mkdir(parents=True)
    return folder


@pytest.fixture
def made(own):
    """What a template makes, or the fault that it is refused with."""

    def make(text, name=NAME, **facts):
        (own / name).write_text(text, encoding="utf-8")
        pages = Pages(own, places.templates())
        try:
            return pages.text(name, title="Norrvale", **facts)
        except InputError as error:
            (fault,) = error.faults
            return fault

    return make


# ------------------------------------------------------------------ how much it may do


LONG = "x" * 200_000
TO_THE_END = "{% for a in range(9999) %}" + LONG + "{% endfor %}"
GROW = "{% set s = namespace(x=BEGIN) %}{% for i in range(60) %}{% set s.x = NEXT %}{% endfor %}{{ s.x | length }}"


def growing(begin, after):
    return GROW.replace("BEGIN", begin).replace("NEXT", after)


TURNS = "takes more than 30,000 turns of loops, calls and includes; make it do less"
SIGNS = "makes more than 6 million signs; make it do less"
DEEP = "this template includes itself, or goes too deep; leave that include, call or loop out"
UNSAFE = "is unsafe; leave it out"
WIDE = "for more than 10,000; make it do less"
TOO_MUCH = {
    "a text times a number": ("{{ 'a' * 10**10 }}", SIGNS),
    "a number times a text": ("{{ 10**10 * 'a' }}", SIGNS),
    "a list times a number": ("{{ ([0] * 10**10) | length }}", SIGNS),
    "a power": ("{{ 10 ** (10 ** 10) }}", SIGNS),
    "a power of a power": ("{{ (2 ** 64) ** (2 ** 40) }}", SIGNS),
    "a number of many digits": ("{{ 10 ** 5000 }}", "digits"),
    "a number written out": ("{{ " + "1" * 5000 + " }}", "digits"),
    "a range": ("{{ range(10**9) | list }}", "Range too big"),
    "loops without end": ("{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}", TURNS),
    "loops that write": ("{% for a in range(99999) %}{% for b in range(99999) %}x{% endfor %}{% endfor %}", TURNS),
    "a loop that writes much": (TO_THE_END, SIGNS),
    "the same, kept": ("{% set y %}" + TO_THE_END + "{% endset %}", SIGNS),
    "the same, in a filter": ("{% filter upper %}" + TO_THE_END + "{% endfilter %}", SIGNS),
    "the same, in a macro": ("{% macro f() %}" + TO_THE_END + "{% endmacro %}{{ f() }}", SIGNS),
    "the same, in a block": ("{% block b %}" + TO_THE_END + "{% endblock %}", SIGNS),
    "a macro that calls itself": ("{% macro f(n) %}{{ f(n + 1) }}{% endmacro %}{{ f(0) }}", DEEP),
    "a macro that calls itself twice": (
        "{% macro f(n) %}{% if n %}{{ f(n - 1) }}{{ f(n - 1) }}{% endif %}{% endmacro %}{{ f(60) }}",
        TURNS,
    ),
    "a loop within itself": (
        "{% for x in [1] recursive %}{% if loop.depth < 30 %}{{ loop('ab') }}{% endif %}{% endfor %}",
        TURNS,
    ),
    "a template within itself": ("{% include 'outline.md.j2' %}", DEEP),
    "one that extends itself": ("{% extends 'outline.md.j2' %}", DEEP),
    "loops in loops": ("{% for a in [1] %}" * 30 + "{% endfor %}" * 30, DEEP),
    "brackets in brackets": ("{{ " + "(" * 5000 + "1" + ")" * 5000 + " }}", DEEP),
    "a long sum": ("{{ 1" + "+1" * 20_000 + " }}", DEEP),
    "a text put to itself": (growing("'aaaaaaaaaa'", "s.x ~ s.x"), SIGNS),
    "a text added to itself": (growing("'aaaaaaaaaa'", "s.x + s.x"), SIGNS),
    "a list added to itself": (growing("[1, 2]", "s.x + s.x"), SIGNS),
    "a list of one long text, shown": (
        growing("['a' * 99999]", "s.x + s.x if i < 16 else s.x").replace(" | length", ""),
        SIGNS,
    ),
    "a list twice in a list": (growing("['ha']", "[s.x, s.x]"), SIGNS),
    "a tuple twice in a tuple": (growing("('ha',)", "(s.x, s.x)"), SIGNS),
    "a table twice in a table": (growing("{}", "{'a': s.x, 'b': s.x}"), SIGNS),
    "the same, by its name": (growing("{}", "dict(a=s.x, b=s.x)"), SIGNS),
    "lists in lists": (growing("[]", "[[[[s.x]]]]"), "puts more than 100 lists into one another; make it do less"),
    "texts kept": (growing("[]", "s.x + ['a' * 99999 ~ i]"), SIGNS),
    "a wide number": ("{{ '%10000000000d' % 1 }}", SIGNS),
    "a number as wide as another": ("{{ '%*d' % (10**10, 1) }}", SIGNS),
    "a text put into another": ("{{ '{:10000000000}'.format(1) }}", UNSAFE),
    "the same, by a table": ("{{ '{x:10000000000}'.format_map({'x': 1}) }}", UNSAFE),
    "a text on the left": ("{{ 'a'.ljust(10**10) }}", UNSAFE),
    "a text in the middle": ("{{ 'a'.center(10**10) }}", UNSAFE),
    "zeros before a text": ("{{ 'a'.zfill(10**10) }}", UNSAFE),
    "wide tabs": ("{{ '\t'.expandtabs(10**10) }}", UNSAFE),
    "a number as bytes": ("{{ (1).to_bytes(10**10, 'big') }}", UNSAFE),
    "a text joined by itself": ("{{ 'a'.join('b') }}", UNSAFE),
    "tags taken out one by one": ("{{ ('<!---->' | safe).striptags() }}", UNSAFE),
    "a filter for the middle": ("{{ 'a' | center(10**10) }}", WIDE),
    "a filter that indents": ("{{ 'a' | indent(10**10) }}", WIDE),
    "a filter that rounds": ("{{ 1.5 | round(10**9, 'ceil') }}", WIDE),
    "a filter that fills": ("{{ [1] | batch(10**9, 'x') | list }}", WIDE),
    "a filter that cuts": ("{{ [1] | slice(10**9) | list }}", WIDE),
    "a filter that writes data": ("{{ [[1]] | tojson(10**10) }}", WIDE),
    "one sign for many": ("{{ ('a' * 100000) | replace('a', 'b' * 100000) }}", SIGNS),
    "many joined by a long one": ("{{ range(99999) | join('x' * 100000) }}", SIGNS),
    "one text many times": ("{{ (['x' * 100000] * 10000) | join }}", SIGNS),
    "a list of lists added up": ("{{ [[1], [2]] | sum(start=[]) }}", "it adds up numbers alone"),
    "many looked for in many": ("{{ range(99999) | select('in', range(99999) | list) | list }}", SIGNS),
    "words without meaning": ("{{ lipsum(10**6) }}", "'lipsum' is undefined"),
    "chance": ("{{ [1, 2] | random }}", "No filter named 'random'"),
    "a file of more than any page": (LONG + LONG, "is over 250 kB, which no template needs; shorten it"),
    "signs that are none": ('{{ "\\ud800" }}', "makes signs that are no Unicode; write them as they are"),
}


@pytest.fixture(scope="module", autouse=True)
def never_takes_the_machine():
    """What is made after all must not be made: 2 GB are what nothing here comes near."""
    resource = pytest.importorskip("resource", reason="bounds its own memory as only other systems can")
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    taken = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (taken + 2_000_000_000, hard))
    yield
    resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


@pytest.mark.parametrize("what", TOO_MUCH)
def test_a_template_that_does_too_much_is_refused_with_its_line(made, what, monkeypatch):
    # a tenth of what is allowed, to be there sooner
    monkeypatch.setattr(own_templates, "MOST_STEPS", own_templates.MOST_STEPS // 10)
    monkeypatch.setattr(own_templates, "MOST_SIGNS", own_templates.MOST_SIGNS // 10)
    text, why = TOO_MUCH[what]
    fault = made("\n" + text)
    assert fault.source == "templates/outline.md.j2"
    assert why in fault.message
    assert fault.line in (0, 2)
    if why in (TURNS, SIGNS, WIDE, UNSAFE):
        assert fault.line == 2


def test_one_that_takes_long_is_stopped(made, monkeypatch):
    monkeypatch.setattr(own_templates, "LONGEST_S", 0.05)
    text = "{% set a = 'a' * 9999999 %}{% for i in range(99999) %}{% if 'b' in a %}{% endif %}{% endfor %}"
    assert made(text).message == "takes longer than 0.05 s; make it do less"


def test_what_one_text_takes_is_not_taken_from_the_next(own):
    (own / NAME).write_text("{% for i in range(99999) %}{% endfor %}{{ 'a' * 10000000 }}", encoding="utf-8")
    pages = Pages(own, places.templates())
    assert {len(pages.text(NAME)) for _ in range(5)} == {10_000_000}


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
def test_what_pages_need_is_made_as_ever(made, text):
    assert made(text).strip("\n") == ORDINARY[text]


@pytest.fixture(scope="module")
def prepared(sample):
    return pipeline.prepare(sample.folder)


def every_text(prepared, pages):
    pictures = {card.id: b"" for card in prepared.episode.cards}
    texts, _ = outputs.texts(prepared.episode, pages, prepared.table, pictures)
    return texts | plan_page.texts(prepared.plan, pages)


def test_the_templates_that_travel_make_the_same_within_bounds(own, prepared):
    (own / "mine.j2").write_text("nobody asks for this", encoding="utf-8")
    pages = Pages(own, places.templates())
    assert isinstance(pages._environment, own_templates.Bounded)
    assert every_text(prepared, pages) == every_text(prepared, prepared.pages)


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
    "<svg><a xlink:href='javascript:hit=1'>x</a></svg>": "<a> whose xlink:href holds something to run",
    "<iframe srcdoc='<script>hit=1</script>'></iframe>": "<iframe>",
    "<object data=x></object>": "<object>",
    "<embed src=x>": "<embed>",
    "<form action=http://example.org/>": "<form>",
    "<base href=http://example.org/>": "<base>",
    "<meta http-equiv='&#82;efresh' content='0;url=http://example.org/'>": "<meta> that leads to another page",
    "<link rel=stylesheet href=http://example.org/x.css>": "<link> that loads something from elsewhere",
    "<img src=http://example.org/x.png>": "<img> that loads something from elsewhere",
    "<img src=//example.org/x.png>": "<img> that loads something from elsewhere",
    "<img srcset='http://example.org/x.png 2x'>": "<img> that loads something from elsewhere",
    "<video src=http://example.org/x.mp4></video>": "<video> that loads something from elsewhere",
    "<svg><image href=http://example.org/x.png /></svg>": "<image> that loads something from elsewhere",
}


@pytest.mark.parametrize("text", FORBIDDEN)
@pytest.mark.parametrize("name", ["spec-table.html", "style.html"])
def test_a_page_that_would_do_more_is_refused(own, text, name):
    (own / name).write_text(HEAD + text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        Pages(own, places.templates()).text("spec-table.html", name="x", table="")
    (fault,) = raised.value.faults
    assert fault.source == ("templates" if name == "style.html" else f"templates/{name}")
    assert f"makes a {FORBIDDEN[text]}" in fault.message
    assert "so leave it out" in fault.message


def test_words_that_a_page_of_its_own_takes_for_safe_are_refused_too(made):
    fault = made(HEAD + "{{ note | safe }}", "spec-table.html", note="<script>hit=1</script>")
    assert "makes a <script> of its own" in fault.message


ALLOWED = [
    "<a href='#table'>x</a> <a href='https://example.org/'>x</a> <a href='mailto:a@example.org'>x</a>",
    "<img src='data:image/png;base64,AAAA' alt='x'><link rel=icon href='data:,'>",
    "<p style='color: #fff'>x</p><style>p { color: red }</style><svg><use href='#x'/></svg>",
]


@pytest.mark.parametrize("text", ALLOWED)
def test_what_a_page_shows_is_its_own_affair(made, text):
    html = made(HEAD + text, "spec-table.html")
    assert html == page_policy.guarded(HEAD + text, places.templates())
    assert html.startswith(
        '<!DOCTYPE html>\n<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" content="'
    )


def test_the_scripts_that_travel_may_run_wherever_they_are_put(made, prepared):
    prompter = every_text(prepared, prepared.pages)["prompter.html"].decode()
    html = made("{{ page | safe }}", "spec-table.html", page=prompter)
    assert html == page_policy.guarded(prompter, places.templates())
    policy = page_policy.scripts(places.templates())
    assert policy.count("'sha256-") == 2
    assert "unsafe" not in policy


def test_without_pages_of_its_own_nothing_is_put_before_a_page(own):
    (own / NAME).write_text("x", encoding="utf-8")
    html = Pages(own, places.templates()).text("spec-table.html", name="x", table="")
    assert html == Pages(places.templates(), places.templates()).text("spec-table.html", name="x", table="")

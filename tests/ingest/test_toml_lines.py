"""Every key's line, and what is said where a text is not TOML."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from reviewkit.ingest.session import toml_lines
from reviewkit.ingest.session.toml_lines import parse_toml
from reviewkit.model.errors import InputError

ODD = '''\
# a comment with = and [brackets]
top = 1
"quoted key" = "a # b"  # tail
dotted.inner."x.y" = 'C:\\'
text = """
[[not]]
a = "b" \\""" ""
"""""
other = \'\'\'
= [\'\'\'
list = [
  1, # one ]
  "two, ]",

  { deep = 3,
    },
]

[a.b]
c = { d = 1, e = { f = [1, 2] } }
when = 1979-05-27 07:32:00

[[many.of]]
x = 1
[many.of.sub]
y = 2
  [[many.of]]
  x = 3
  [[many.of.inner]]
  z = 4
'''.replace("  { deep = 3,\n    },", "  { deep = 3 },\n")


def test_every_key_has_its_line():
    lines = parse_toml(ODD, "x.toml").lines
    expected = {
        ("top",): 2,
        ("quoted key",): 3,
        ("dotted",): 4,
        ("dotted", "inner", "x.y"): 4,
        ("text",): 5,
        ("other",): 9,
        ("list",): 11,
        ("list", 0): 12,
        ("list", 1): 13,
        ("list", 2): 15,
        ("list", 2, "deep"): 15,
        ("a",): 19,
        ("a", "b"): 19,
        ("a", "b", "c"): 20,
        ("a", "b", "c", "e", "f", 1): 20,
        ("a", "b", "when"): 21,
        ("many",): 23,
        ("many", "of"): 23,
        ("many", "of", 0): 23,
        ("many", "of", 0, "x"): 24,
        ("many", "of", 0, "sub"): 25,
        ("many", "of", 0, "sub", "y"): 26,
        ("many", "of", 1): 27,
        ("many", "of", 1, "x"): 28,
        ("many", "of", 1, "inner"): 29,
        ("many", "of", 1, "inner", 0): 29,
        ("many", "of", 1, "inner", 0, "z"): 30,
    }
    assert {path: lines[path] for path in expected} == expected


def test_an_unknown_path_has_the_line_of_its_parent():
    document = parse_toml("[a]\n\nb = [1]\n", "x.toml")
    assert document.line("a", "b", 7, "c") == 3
    assert document.line("a", "z") == 1
    assert document.line("z") == 0


def paths(value, path=()):
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from paths(inner, (*path, key))


_KEYS = st.sampled_from(["a", "b-2", "c_d", '"e f"', "'g.h'", "i.j", '"\\u00e9"'])
_VALUES = st.recursive(
    st.sampled_from(["1", "-1.5e3", "true", "nan", '"x"', "'y\"'", '""', '"""\nz""""', "'''\n#'''", "1979-05-27"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[ # note\n" + ",\n".join(items) + "\n]"),
        st.dictionaries(_KEYS, inner, max_size=3).map(
            lambda pairs: "{ " + ", ".join(f"{key} = {value}" for key, value in pairs.items()) + " }"
        ),
    ),
    max_leaves=8,
)
_STATEMENTS = st.one_of(
    st.tuples(_KEYS, _VALUES).map(lambda pair: f"{pair[0]} = {pair[1]}"),
    st.tuples(st.sampled_from(["[{}]", "[[{}]]", "[ k . {} ]", "[[ k.{} ]]"]), _KEYS).map(lambda p: p[0].format(p[1])),
    st.sampled_from(["", "# = [", "   "]),
)


@given(st.lists(_STATEMENTS, max_size=8))
@example(["[[ k.a ]]", "i.j = { b = [ # note\n1\n] }"])  # a path of seven parts
def test_every_path_that_tomllib_finds_has_a_line(statements):
    """tomllib decides what the paths are; the locator must know each of them, as deep as it looks, and nothing else."""
    text = "\n".join(statements)
    try:
        document = parse_toml(text, "x.toml")
    except InputError:
        return
    known = {path for path in paths(document.data) if len(path) <= toml_lines._DEEPEST}
    assert known == set(document.lines)
    assert all(1 <= line <= text.count("\n") + 1 for line in document.lines.values())


ONE_FORM = (
    "is one of many; write [[rated]], with two brackets, each time, or one [rated] with a line for each; "
    "ratings.txt may have lines, too"
)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = 5 W", 'x.toml:1: a = 5 W needs quotation marks; write a = "5 W"'),
        ("\na = both  # driven", 'x.toml:2: a = both needs quotation marks; write a = "both"'),
        ("a =\n", "x.toml:1: a has no value; write one after the equals sign, or leave the key out"),
        ('a = "x\n', 'x.toml:1: a = "x: the quotation mark is not closed; write " at the end of the text'),
        (
            'a = "m\\q"',
            'x.toml:1: a = "m\\q": a backslash cannot be in quotation marks; write / between the parts of a path',
        ),
        ("[a]\n[a]", "x.toml:2: [a] appears twice; keep one of them and put all its keys there"),
        ("[rated]\n[rated]", f"x.toml:2: [rated] {ONE_FORM}"),
        ("[[rated]]\n[rated]", f"x.toml:2: [rated] {ONE_FORM}"),
        ("[rated]\n[[rated]]", f"x.toml:2: the [rated] above it {ONE_FORM}"),
        (
            "[measurement]\n[[measurement]]",
            "x.toml:2: the [measurement] above it is one of many; write [[measurement]], with two brackets, each time",
        ),
        ("a = 1\na = 2\n", "x.toml:2: a = 2: this key appears twice in its table; keep one"),
        ("a = [1]\n[[a]]", "x.toml:2: [[a]]: the same name is used as a value and as a table; keep one"),
        ('a = ["x"\nb = 2', 'x.toml:2: the list opened above is not closed before "b = 2"; write ] at its end'),
        ("full scale = 3", 'x.toml:1: "full scale" has a space in it; write full_scale'),
        (
            "a = 1,5",
            "x.toml:1: a = 1,5 is not a number; write the decimal mark as a point and no thousands mark",
        ),
        ("a = “x”", 'x.toml:1: a = “x”: write straight quotation marks (")'),
        ("[[a]", "x.toml:1: [[a]: the bracket is not closed; write [[a]]"),
        (
            "a note",
            'x.toml:1: "a note" is not a line of a session; write KEY = VALUE, [TABLE], or begin a comment with #',
        ),
        (
            "a = 1\rb = 2",
            "x.toml:1: lines end with a lone carriage return; save the file with the line ends of today's systems",
        ),
        (
            "a = " + "[" * 1900,
            "x.toml: brackets are nested too deeply; close them, for no key needs more than two levels",
        ),
        (
            "a = " + "9" * 5000,
            "x.toml:1: this line has 5004 characters; write at most 2000, and a list over several lines",
        ),
        (
            "\n" * 5000,
            "x.toml: has 5001 lines, and no session needs over 4000; keep its tables alone here",
        ),
        (
            "#" * 200_001,
            "x.toml: has 200001 characters, and no session needs over 200000; keep its tables alone here",
        ),
    ],
)
def test_what_is_no_toml_is_told_with_line_and_remedy(text, message):
    with pytest.raises(InputError) as raised:
        parse_toml(text, "x.toml")
    assert str(raised.value) == message

"""Whatever is typed into session.toml, it is read or refused with its line: never a traceback."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from session_texts import WHOLE, outcome

_TYPED = [
    '"',
    "'",
    '"""',
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "=",
    ",",
    ".",
    "#",
    "nan",
    "-1",
    "1e999",
    "true",
    "é",
    "1979-05-27",
    "07:32:00",
    "[]",
    "{}",
    '""',
    '"8"',
    '"-8dB"',
    "\\",
]
_UNSEEN = ["\n", "\x00", "\x1b", "\ud7ff", "\u2028", "\r", "9" * 400]
_PIECES = st.sampled_from([*_TYPED, *_UNSEEN])


_EXAMPLES = pytest.mark.parametrize("examples", [60, pytest.param(300, marks=pytest.mark.long)])


@_EXAMPLES
def test_a_mutilated_session_is_read_or_refused(folder, examples):
    @settings(max_examples=examples)
    @given(st.lists(st.tuples(st.integers(0, len(WHOLE)), st.integers(0, 12), _PIECES), min_size=1, max_size=4))
    def look(changes):
        text = WHOLE
        for at, dropped, piece in changes:
            text = text[:at] + piece + text[at + dropped :]
        session, faults = outcome(text, folder)
        assert (session is None) == bool(faults)
        assert session is None or session.unit.maker
        assert all(fault.source == "session.toml" for fault in faults)
        assert all(0 <= fault.line <= text.count("\n") + 1 for fault in faults)
        assert all(str(fault).isprintable() for fault in faults)

    look()


_VALUES = st.recursive(
    st.sampled_from(['""', '"x"', '"8 ohm"', '"5 W"', "5", "-0.0", "nan", "inf", "true", "1979-05-27", "9" * 320]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
        st.lists(inner, max_size=3).map(
            lambda items: "{" + ", ".join(f"k{n} = {v}" for n, v in enumerate(items)) + "}"
        ),
        st.lists(inner, max_size=2).map(
            lambda items: "{" + ", ".join(f"{k} = {v}" for k, v in zip("LR", items, strict=False)) + "}"
        ),
    ),
    max_leaves=6,
)


@_EXAMPLES
def test_any_value_at_any_key_is_read_or_refused_at_its_line(folder, examples):
    lines = WHOLE.split("\n")
    keys = [number for number, line in enumerate(lines) if "=" in line]

    @settings(max_examples=examples)
    @given(st.sampled_from(keys), _VALUES)
    def look(number, value):
        typed = f"{lines[number].split('=')[0]}= {value}"
        _, faults = outcome("\n".join([*lines[:number], typed, *lines[number + 1 :]]), folder)
        assert all(str(fault).isprintable() and fault.line for fault in faults)

    look()

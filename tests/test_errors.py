"""Faults: where, what is there, what to write instead; and how many of them are shown."""

from __future__ import annotations

import pytest

from reviewkit.model.errors import MOST_SHOWN, CannotFinish, Fault, Faults, InputError, listed, nearest


def test_a_fault_names_its_place():
    said = '[[rated]] power: at_least = "40" has no unit; write "40 W"'
    assert str(Fault("session.toml", 14, said)) == f"session.toml:14: {said}"
    assert str(Fault("session.toml", 0, "is not there")) == "session.toml: is not there"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("clear \x1b[2J the screen", "clear \\x1b[2J the screen"),
        ("two\nlines", "two\\nlines"),
        ("back\rover", "back\\rover"),
        ("turned \u202eround", "turned \\u202eround"),
        ("bell\x07", "bell\\x07"),
        ("8 Ω ± 0.1 µV − 3", "8 Ω ± 0.1 µV − 3"),
    ],
)
def test_an_input_cannot_steer_the_terminal(text, shown):
    assert str(Fault("notes.txt", 1, text)) == f"notes.txt:1: {shown}"
    assert str(Fault(text, 0, "x")) == f"{shown}: x"


def test_an_input_error_holds_every_fault():
    faults = [Fault("a.csv", 1, "one"), Fault("b.csv", 2, "two")]
    error = InputError(faults)
    assert error.faults == tuple(faults)
    assert str(error) == "a.csv:1: one\nb.csv:2: two"
    assert InputError(faults[0]).faults == (faults[0],)
    assert InputError(f for f in faults).faults == tuple(faults)
    assert not issubclass(CannotFinish, InputError)


def test_faults_are_collected_until_the_file_is_read():
    faults = Faults("notes.txt")
    faults.stop_if_any()
    faults.add(3, "first")
    faults.add(9, "second")
    with pytest.raises(InputError) as raised:
        faults.stop_if_any()
    assert raised.value.faults == (Fault("notes.txt", 3, "first"), Fault("notes.txt", 9, "second"))


def test_at_most_twenty_of_each_file_are_shown():
    assert MOST_SHOWN == 20
    many = [Fault("a.csv", n, "bad") for n in range(1, 46)]
    lines = listed([*many[:30], Fault("b.csv", 1, "odd"), *many[30:]])
    assert lines == [*(f"a.csv:{n}: bad" for n in range(1, 21)), "a.csv: and 25 more", "b.csv:1: odd"]
    assert listed(many[:20]) == [f"a.csv:{n}: bad" for n in range(1, 21)]
    assert listed([]) == []


def test_the_nearest_known_word():
    known = ("power", "thd", "damping factor")
    assert nearest("powr", known) == 'did you mean "power"?'
    assert nearest("damping_factor", known) == 'did you mean "damping factor"?'
    assert nearest("zzz", known) == "known: damping factor, power, thd"
    assert nearest("x", ()) == "known: "

"""What a message suggests for a brochure's line, put there: it leads on.

Each case is a line of ratings.txt, or a table [rated], with a mistake or with two readings. Every alternative that its
message names is put in the place of what is wrong, as a reader would; within a few steps the line is read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from brochure_lines import LINES, Asked
from remedies import unseen
from session_texts import UNIT

from reviewkit.ingest import references
from reviewkit.ingest.session import (
    own_figures,
    printed_line,
    rated_lines,
    rating_entries,
    rating_line,
    rating_names,
)
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.errors import InputError

Paste = Callable[[str, re.Match[str]], Iterator[str]]
MOST_PASTED = 4


def instead(*texts: str) -> Paste:
    """Each of these texts, filled in from the message, in the place of its first group."""

    def paste(line: str, said: re.Match[str]) -> Iterator[str]:
        for text in texts:
            new = said.expand(text)
            assert new in said[0] or not new, (new, said[0])
            # a message shows a value as it is understood, 35,000 Hz as it is written
            written = re.search(re.escape(said[1]).replace("\\ ", r"\s*"), line.replace("−", "-"))
            assert written, (said[1], line)
            yield f"{line[: written.start()]}{new}{line[written.end() :]}".strip(" ,")

    return paste


def added(*texts: str) -> Paste:
    """Each of these texts, filled in from the message, at the line's end."""
    return lambda line, said: (f"{line}, {said.expand(text)}" for text in texts)


def before_first(line: str, said: re.Match[str]) -> Iterator[str]:
    """The condition before the first figure, and with each of them."""
    name, _, figures = line.partition(": ")
    values = [each.strip() for each in figures.replace(said[1], "").strip(" ,()").split(",") if each.strip(" ()")]
    yield f"{name}: {said[1]}, {', '.join(values)}"
    yield f"{name}: {', '.join(f'{value} {said[1]}' for value in values)}"


PASTES: dict[str, Paste] = {
    r'begin the line with "(not measured:)", or .* write "(source impedance): …"': lambda line, said: iter(
        [f"{said[1]} {line}", re.sub("^[^:]*", said[2], line)]
    ),
    r'^"([^"]*)":.* did you mean "([^"]*)"\? Only to print it, write "(.*)"': lambda line, said: iter(
        [re.sub(r"^[^:\d]*[^:\d\s]", said[2], line, count=1), said[3]]
    ),
    r'such as "(power)", "(THD)" or "(S/N)"\. Only to print it, write "(.*)"': lambda line, said: iter(
        [f"{said[2]}: {line.rpartition(': ')[2]}", said[4]]
    ),
    r"if it is a heading, leave it out": lambda line, said: iter([""]),
    r'begin with "(FM)" for the radio, or write "…: (tuner) …"': lambda line, said: iter(
        [f"{said[1]} {line.split(' ', 1)[1]}", re.sub(r"^\w+ (.*): ", rf"\1: {said[2]} ", line)]
    ),
    r"has (\d+) characters; write at most (\d+)": lambda line, said: iter([line[: int(said[2])]]),
    r'write for example "(not measured: Slew rate: .*)"$': lambda line, said: iter([said[1]]),
    r"shorten it to at most (\d+) characters before the colon": lambda line, said: iter(
        [f"not measured: {line.split(': ')[1][: int(said[1])]}: {line.split(': ')[2]}"]
    ),
    r"write all its numbers with points": lambda line, said: iter([re.sub(r"(\d),(\d)", r"\1.\2", line)]),
    r'"([^"]*)" is (\S+) or (\S+); write the one that is meant, such as (.*)$': lambda line, said: iter(
        [line.replace(said[1], said[2]), line.replace(said[1], said[3]), line.replace(f"{said[1]} Hz", said[4])]
    ),
    r'"([^"]*)" is (\S+) or (\S+); write the one that is meant$': instead(r"\2", r"\3"),
    r'no tolerance is printed; write it, such as (±1 dB), or "(not measured): …"': lambda line, said: iter(
        [f"{line}, {said[1]}", f"{said[2]}: {line}"]
    ),
    r'there is no figure(?: in (\S+)(?: or .*)?)?; write it after the name, or begin the line with "(not measured:)"': (
        lambda line, said: iter([re.sub(r":.*", f": 5 {said[1]}", line)] * bool(said[1]) + [f"{said[2]} {line}"])
    ),
    r"there is no figure(?: in (\S+))?; write it after the name$": lambda line, said: iter(
        [re.sub(r":.*", f": 5 {said[1] or ''}", line)]
    ),
    r'such as "(aux)", or "(FM)"': lambda line, said: iter([line.replace(": ", f": {said[1]} "), f"{said[2]} {line}"]),
    r'(\S+ m?V) may be at the input or the output; write "(.*)" if it is there': instead(r"\2"),
    r'(\S+ m?V) may be at the input or the output; write "([^"]*)" or "([^"]*)"': instead(r"\2", r"\3"),
    r": (\S+ \S+) is not what a ratio can be relative to; leave it out": instead(""),
    r'"([^"]*)" is relative to nothing; write for example "([^"]*)", "([^"]*)" or "([^"]*)"': instead(
        r"\2", r"\3", r"\4"
    ),
    r"what (±\S+ \S+) applies to; leave it out": instead(""),
    r'(\S+ \S+) may be the least or the most; write "([^"]*)" or "([^"]*)"': lambda line, said: (
        line.replace(said[1], f"{said[place]} {said[1]}") for place in (2, 3)
    ),
    r"(\S+ \S+) and (\S+ \S+) are not the same at 75 or 300 ohms; keep one of them": instead(""),
    r'a maximum power .*; write "([^"]*)" or "([^"]*)"': lambda line, said: (
        re.sub(r"maximum power", said[place], line, flags=re.IGNORECASE) for place in (1, 2)
    ),
    r"is at half of a power that this line doesn't print; write it, such as (20 W)": lambda line, said: iter(
        [re.sub(r"half (the )?rated (power|output)", said[1], line)]
    ),
    r'no weighting is named; write "([^"]*)" or "([^"]*)"': lambda line, said: (
        line.replace("weighted", said[place]) for place in (1, 2)
    ),
    r'(DIN|IHF) has more than one \w+; write (?:what is meant, such as )?"([^"]*)"(?: or "([^"]*)")?,? in its place': (
        lambda line, said: (line.replace(said[1], word) for word in said.groups()[1:] if word)
    ),
    r"the power is (\w+) and (\w+); write one of them": lambda line, said: (
        re.sub(rf"\b{said[place]}\b ?", "", line, flags=re.IGNORECASE) for place in (1, 2)
    ),
    r'an IHF power may be (continuous) or (music) power; write which, in place of "(IHF)"': lambda line, said: (
        line.replace(said[3], said[place]) for place in (1, 2)
    ),
    r'(\S+ m?W) may be for each channel or for both; write "([^"]*)" or "([^"]*)"': lambda line, said: (
        re.sub(rf"{re.escape(said[1].split()[0])} \w+(?: per channel total)?", said[place], line) for place in (2, 3)
    ),
    r'"(at most|at least)" does not go with': instead(""),
    r'"([^"]*)" is not understood; leave it out': instead(""),
    r"(\S+ dB) alone may be a limit on one side or on both; write (.*) or (.*), whichever": instead(r"\2", r"\3"),
    r'the lower end of "((\d+)[^"]*)" has no unit; write it, such as (.* Hz)': lambda line, said: iter(
        [line.replace(said[1], said[1].replace(said[2], said[3], 1))]
    ),
    r'"([^"]*)" may be for one figure or for all': before_first,
    r"(\S+ \S+) and (\S+ \S+) have the same conditions; write what differs": lambda line, said: iter(
        [line.replace(said[1], f"{said[1]} at 1 W").replace(said[2], f"{said[2]} at 20 W"), line.split(",")[0]]
    ),
    r'a limit has no tolerance; leave out "([^"]*)", or leave out (±\S+ \S+)': lambda line, said: (
        line.replace(said[place], "") for place in (1, 2)
    ),
    r"is printed twice for .*; give each its own line": lambda line, said: iter(
        [re.sub(r"(: .* at )(.*), (.*)$", rf"\1\2\n{line.split(':')[0]}\1\3", line)]
    ),
    r'= "([^"]*)" is not above zero; write (?:for example )?"(.*)"$': instead(r"\2"),
    r"is also rated in [^;]*; keep one of them": lambda line, said: iter([line.rsplit("\n", 1)[0]]),
}
OF_TABLES: dict[str, Paste] = {
    r"source is not one line of text; write for example (source = .*)$": lambda text, said: iter(
        [re.sub(r"source = .*", said[1], text)]
    ),
    r"(\w+): (\S+) is not text; write the line in quotation marks": lambda text, said: iter(
        [text.replace(f"= {said[2]}", '= "40 W per channel"')]
    ),
    r"holds a control character; write the line without it": lambda text, said: iter([text.replace("\\u0007", "")]),
    r"is also rated in [^;]*; keep one of them": lambda text, said: iter([text.rstrip().rsplit("\n", 1)[0] + "\n"]),
}
CASES = (
    *(line for line, wanted in LINES.items() if isinstance(wanted, Asked)),
    "Powr: 40 W per channel into 8 ohms",
    "FM SECTION",
    "S/N: eighty",
    "Tuner S/N: 70 dB",
    f"THD: 0.1 % {'at 1 kHz ' * 60}",
    ": 40 V/µs",
    "not measured: : 40 V/µs",
    "Output impedance: 8 Ω",
    "THD: 0.1 % from 20 - 20 kHz",
    "THD: 0,1 % at 25.5 W",
    "Sensitivity: 150 mV",
    "S/N: 80 dB, 2 V",
    "S/N: 80 dB re 3 V",
    "S/N: 80 dB re 0 dBm",
    "THD: 0.1 % at 0 dB",
    "Usable sensitivity: 10.3",
    "FM usable sensitivity: 10.3 dBf (5 µV)",
    "Ripple: max 5 mV at 1 W, 6 mV at 20 W",
    "Ripple: at least much",
    "Usable sensitivity: 10 dBf ±1 dB",
    "S/N: 80 dB weighted",
    "Speed: max 33 rpm ±1 %",
    "S/N: 80 dB IHF",
    "Music power: 40 W per channel continuous",
    "Power: 40 W per channel IHF",
    "Power: 40 W",
    "Power output: 1,500 mW per channel",
    "Damping factor: 1,000",
    "Damping factor: 1,234",
    "THD: 0.1 %, 0.2 %",
    "THD: 0.1 % at 1 kHz, 10 kHz",
    "THD: at most -5 %",
    "S/N: at most 80 dB",
    f"not measured: {'n' * 60}: 5",
    "Power: 0 W per channel",
    "Channel separation: 50 dB\nChannel separation: 60 dB",
)
TABLES = (
    '[rated]\nsource = 5\npower = "40 W per channel"\n',
    "[rated]\npower = true\n",
    '[rated]\nthd = "0.1 %\\u0007"\n',
    '[rated]\n"power output" = "40 W per channel"\npower = "40 W per channel"\n',
)
SEEN: list[str] = []


def faults_of(toml: str, lines: str) -> list[str]:
    try:
        parse_session(UNIT + toml, Path(), kinds=(), brochure=lines)
    except InputError as error:
        return [fault.message for fault in error.faults]
    return []


def pasted(text: str, message: str, pastes: dict[str, Paste]) -> list[str]:
    message = re.sub(r" \(read as .*\)$", "", message)
    for pattern, paste in pastes.items():
        if said := re.search(pattern, message):
            return list(paste(text, said))
    raise AssertionError(f"nothing to do: {message}")


def follow(text: str, read: Callable[[str], list[str]], pastes: dict[str, Paste]) -> None:
    assert read(text), text
    ways = [(text, 0, "")]
    while ways:
        now, count, came = ways.pop()
        faults = read(now)
        SEEN.extend(faults)
        assert came not in faults, now
        assert count <= MOST_PASTED, now
        if faults:
            ways += [(changed, count + 1, faults[0]) for changed in pasted(now, faults[0], pastes)]


@pytest.mark.parametrize("line", CASES, ids=lambda line: line[:30].strip())
def test_what_is_suggested_for_a_line_leads_on(line):
    follow(line, lambda text: faults_of("", text), PASTES)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: " ".join(table.split())[:30])
def test_what_is_suggested_for_a_table_leads_on(table):
    follow(table, lambda text: faults_of(text, ""), OF_TABLES)


def test_every_suggestion_was_pasted():
    if len(SEEN) < len(CASES):
        pytest.skip("the cases above were not run")
    modules = (
        own_figures, printed_line, rated_lines, rating_entries, rating_line, rating_names, references,
    )  # fmt: skip
    assert unseen(modules, SEEN) == []

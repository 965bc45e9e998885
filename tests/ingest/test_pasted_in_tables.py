"""What a message suggests for a line, a cell or a header of the files written by hand, put there: it leads on.

Each case is a file with a mistake. Every alternative that its messages name is put in the place of what is wrong, as a
reader would; within a few steps the file is read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from types import ModuleType

import pytest
from remedies import unseen

from reviewkit.ingest import delimited, reading_conditions, reading_file
from reviewkit.ingest.session import cut_file, footage_time, notes_file, price_file, repair_file
from reviewkit.model.errors import InputError

Paste = Callable[[list[str], int, re.Match[str]], Iterator[list[str]]]
MOST_PASTED = 4


def instead(*groups: int, of: int = 1) -> Paste:
    """Each of these groups of the message in the place of another one, in its line."""

    def paste(lines: list[str], at: int, said: re.Match[str]) -> Iterator[list[str]]:
        for group in groups:
            yield [*lines[:at], lines[at].replace(said[of], said[group], 1), *lines[at + 1 :]]

    return paste


def words(*each: str, of: int = 1) -> Paste:
    """Each of these words in the place of a group of the message."""

    def paste(lines: list[str], at: int, said: re.Match[str]) -> Iterator[list[str]]:
        for word in each:
            assert word in said[0] or not word, (word, said[0])
            yield [*lines[:at], lines[at].replace(said[of], word, 1), *lines[at + 1 :]]

    return paste


def line(*groups: int) -> Paste:
    """Each of these groups of the message as the whole line."""

    def paste(lines: list[str], at: int, said: re.Match[str]) -> Iterator[list[str]]:
        for group in groups:
            yield [*lines[:at], said[group], *lines[at + 1 :]]

    return paste


def before(group: int) -> Paste:
    """A group of the message as a line before the one that is wrong."""
    return lambda lines, at, said: iter([[*lines[:at], said[group], *lines[at:]]])


def cell(place: int, *each: str) -> Paste:
    """Each of these words as a cell of the line."""

    def paste(lines: list[str], at: int, said: re.Match[str]) -> Iterator[list[str]]:
        for word in each:
            assert word in said[0], (word, said[0])
            cells = lines[at].split(",") + [""] * place
            cells[place] = word
            yield [*lines[:at], ",".join(cells), *lines[at + 1 :]]

    return paste


_TIME: dict[str, Paste] = {
    r'"([^"]*)".*(?:write|write two:) .*, as in (\S+)$': instead(2),
    r'"([^"]*)" has a comma; write (\S+)$': instead(2),
}
_CELLS: dict[str, Paste] = {
    r'"([^"]*)" has a comma between digits; write (.*)$': instead(2),
    r'"([^"]*)" has marks? between thousands; write (.*)$': instead(2),
    r'"([^"]*)" has a mark between thousands; write (.*)$': instead(2),
    r'"([^"]*)" may have a mark between thousands; write (\S+) or (\S+), whichever is meant$': instead(2, 3),
    r'unknown column "([^"]*)"; did you mean "([^"]*)"\?$': instead(2),
    r"write a header: (.*)$": lambda lines, at, said: iter([[said[1], *lines[1:]]]),
    r"begin with a header: (.*)$": lambda lines, at, said: iter([[said[1], *lines[1:]]]),
}
NOTES: dict[str, Paste] = {
    r"a note looks like (.*)$": line(1),
    r"write for example (clip .*), or (clip .*)$": line(1, 2),
    r"go back only after a clip line, for example (clip \S+)$": before(1),
    r"(\[[^\]]*\]): a card is called for by its id, one each; write (\[card tone-before\])$": instead(2),
    r"(\[[^\]]*\]): a sound is called for by its id, one each; write (\[sound music\])$": instead(2),
    r"(\[[^\]]*\]) is not understood; write (\[cut\]) for": instead(2),
    r'"(\[.*)" has no closing bracket; write (\[card tone-before\]) or (\[cut\])$': instead(2, 3),
    r"write how long it runs, or (leave the length out)$": lambda lines, at, said: iter(
        [[*lines[:at], lines[at].partition(" for ")[0], *lines[at + 1 :]]]
    ),
    **_TIME,
}
CUT: dict[str, Paste] = {r"write a time and a segment, for example (.*)$": line(1), **_TIME}
REPAIR: dict[str, Paste] = {
    r'"([^"]*)" is not a reading; write a number such as 0\.38, or "open" or "short"$': words("0.38", "open", "short"),
    r'"([^"]*)" is not a reading; write for example "5 %" or "0\.3 V"$': words("5 %", "0.3 V"),
    r'"([^"]*)" is negative; write how far off is still good, for example "5 %"$': words("5 %"),
    r'the unit "([^"]*)" is not known; write for example V, mV, ohm, mA or uF$': words("V", "mV", "ohm", "mA", "uF"),
    r'"[^"]*": the unit "([^"]*)" is not known; write for example V, ohm or uF$': words("V", "ohm", "uF"),
    r"is in (\S+) where the row is in (\S+); write it in (\S+), or correct the unit$": instead(3),
    **_CELLS,
}
PRICES: dict[str, Paste] = {
    r'in "([^"]*)"; write (year,index), or (month,index) with YYYY-MM, or (date,index) with YYYY-MM-DD': instead(
        2, 3, 4
    ),
    r'"([^"]*)" is not a (?:month|date); write YYYY-MM\S*, for example (\S+)$': instead(2),
    r"the table needs rows: .*$": lambda lines, at, said: iter([[*lines, "1977,60.6"]]),
    **_CELLS,
}
READINGS: dict[str, Paste] = {
    r"write one a row, for example (.*)$": lambda lines, at, said: iter([[*lines, said[1]]]),
    r"write a name, for example (DC offset)$": cell(0, "DC offset"),
    r'channel "([^"]*)" is not known; write L, R or both, or leave it blank$': words("L", "R", "both", ""),
    r'"([^"]*)" is not a reading; write a number such as 0\.38, or -- where there is none$': words("0.38", "--"),
    r"write (-\S+)$": lambda lines, at, said: cell(2, said[1])(lines, at, said),
    r'value "-(\S+)" is negative; write it without the sign$': lambda lines, at, said: iter(
        [[*lines[:at], lines[at].replace(f"-{said[1]}", said[1]), *lines[at + 1 :]]]
    ),
    r'the channel is part of the name; write "([^"]*)", and (\S+) as its channel$': lambda lines, at, said: iter(
        [[*lines[:at], f"{said[1]},{said[2]}," + lines[at].split(",", 2)[2], *lines[at + 1 :]]]
    ),
    r'the unit "([^"]*)" is not known; write for example V, mV, ohm, dB or mA$': words("V", "mV", "ohm", "dB", "mA"),
    r"write one into the column unit, for example (\S+)$": lambda lines, at, said: cell(3, said[1])(lines, at, said),
    r"is in (\S+) where (\S+) is needed; write for example (\S+) (\S+), or give": lambda lines, at, said: iter(
        [[*lines[:at], re.sub(r"[\d.]+,[^,]*", f"{said[3]},{said[4]}", lines[at], count=1), *lines[at + 1 :]]]
    ),
    r'^(.*?): is not a quantity; did you mean "([^"]*)"\?$': instead(2),
    r'at "([^"]*)" is not above zero; write for example (.*), or in words: (\w+)$': instead(2, 3),
    r"(is a bare number), here it has the unit (.*); leave the unit blank$": words("", of=2),
    r"say in the column at what differs, for example: cold, warm": cell(4, "cold"),
    **_CELLS,
}
# what says what to do in words alone: there is nothing to put anywhere
IN_WORDS = re.compile(
    "close them|correct the time or the length|correct one of them|keep the notes of one clip|put a word before"
    "|keep one|the words for readers|in the order of the cut"
    "|which test point|in the row's unit|write the unit in its column|write all twelve"
    "|write four digits|no thousands mark; leave|write one unit|that was meant|put text that holds|one of them, and"
    "|say no time|known: |correct it, or leave|measure it with that kind|a separator in quotation marks"
)
_NOTES_HEAD, _REPAIR, _READINGS = (
    "0:00 opening: Bought.\n",
    "point,expected,found,unit,tolerance\n",
    "name,channel,value,unit,at\n",
)
CASES: dict[str, tuple[Callable[[str], object], dict[str, Paste], tuple[ModuleType, ...], tuple[str, ...]]] = {
    "notes.txt": (
        notes_file.parse_notes,
        NOTES,
        (notes_file, footage_time),
        (
            "hello\n",
            "0:41\n",
            "  indented\n",
            "clip\n",
            "clip for\n",
            "clip A.mp4 for\n",
            "clip A.mp4 for long\n",
            "clip A.mp4 at 21:10\n",
            "clip A.mp4 at 25:10:32\n",
            "clip A.mp4 for 0:00\n0:00 opening: Bought.\n",
            "clip A.mp4 at 21:10:32\n0:41 front: Five knobs.\n",
            "clip A.mp4 at 21:10:32\nhello\n",
            "0:4 front: Five knobs.\n",
            "0:75 front: Five knobs.\n",
            "0:41,5 front: Five knobs.\n",
            "1:2:03 front: Five.\n",
            "1:75:03 front: Five.\n",
            "0:41:5x front: Five.\n",
            f"{_NOTES_HEAD}1:00 front: Five.\n0:30 back: Four.\n",
            f"{_NOTES_HEAD}0:10 Look. [card]\n",
            f"{_NOTES_HEAD}0:10 Look. [cards a, b]\n",
            f"{_NOTES_HEAD}0:10 Look. [card a b]\n",
            f"{_NOTES_HEAD}0:10 Listen. [sounds a, b]\n",
            f"{_NOTES_HEAD}0:10 Look. [page]\n",
            f"{_NOTES_HEAD}0:10 Look. [pages] See.\n",
            f"{_NOTES_HEAD}0:10 Look. [no page]\n",
            f"{_NOTES_HEAD}0:10 Look. [cut here]\n",
            f"{_NOTES_HEAD}0:10 Look. [card a\n",
            f"{_NOTES_HEAD}0:10 Look. [cut\n",
        ),
    ),
    "final.txt": (
        cut_file.parse_cut,
        CUT,
        (cut_file,),
        (
            "0:00 Front panel\n",
            "0:00\n",
            "6:12 Before\n",
            "6:1 before\n",
            "6:75 before\n",
            "6:12,5 before\n",
            "before 6:12\n",
            "1:2:03 after\n",
        ),
    ),
    "repair.csv": (
        repair_file.parse_repair,
        REPAIR,
        (repair_file, delimited),
        (
            "",
            "punkt,expected\nQ5,0.5\n",
            "pont,expected\nQ5,0.5\n",
            "expected,found\n0.5,0.4\n",
            "point,expectd\nQ5,0.5\n",
            f"{_REPAIR}Q5,about,0.5,V,\n",
            f"{_REPAIR}Q5,0.5,?,V,\n",
            f"{_REPAIR}Q5,0.5,0.4,V,small\n",
            f"{_REPAIR}Q5,0.5,0.4,V,-5 %\n",
            f"{_REPAIR}Q5,0.5,0.4,Q,\n",
            f"{_REPAIR}Q5,0.5 Q,0.4,,\n",
            f"{_REPAIR}Q5,0.5,4 mA,V,\n",
            f'{_REPAIR}Q5,"0,5",0.4,V,\n',
            f'{_REPAIR}Q5,"1,313.5",0.4,V,\n',
            f'{_REPAIR}Q5,"1,313,500",0.4,V,\n',
            "point;expected;unit\nQ5;1,313;V\n",
            "point;expected;unit\nQ5;1.313,5;V\n",
            "point;expected;unit\nQ5;1,313,500;V\n",
            f"{_REPAIR}Q5,0,0.4,V,5 %\n",
            f"{_REPAIR}Q5,0.5,0.4,,5 V\n",
            f"{_REPAIR},0.5,0.4,V,\n",
            f'{_REPAIR}"Q5,0.5\n',
            f"{_REPAIR}Q5,1,2,V,1,1\n",
            "point;expected\nQ5;1;2\n",
        ),
    ),
    "prices.csv": (
        lambda text: price_file.parse_prices(text, "prices.csv"),
        PRICES,
        (price_file,),
        (
            "",
            "jahr,wert\n1977,60.6\n",
            "year,wert\n1977,60.6\n",
            "jahr,index\n1977,60.6\n",
            "jan,index\n1977,60.6\n",
            "month,index\n4/1977,60.6\n",
            "date,index\n1.4.1977,60.6\n",
            "year,index\n77,60.6\n",
            "year,index\n1977,sixty\n",
            "year;index\n1977;1,313\n",
            "year;index\n1977;1,313.5\n",
            "year,index\n",
            "year,jan,feb\n1977,1,2\n",
            "month,annual\n1977,60.6\n",
        ),
    ),
    "readings.csv": (
        lambda text: reading_file.parse_readings(text, "m/r.csv"),
        READINGS,
        (reading_file, reading_conditions),
        (
            "",
            _READINGS,
            "name,channel,unit\nhum,L,mV\n",
            "name,chanel,value\nhum,L,1 mV\n",
            f"{_READINGS},L,12,mV,\n",
            f"{_READINGS}DC offset,links,12,mV,\n",
            f"{_READINGS}DC offset,L,much,mV,\n",
            f"{_READINGS}hum,L,6.2,dB,\n",
            f"{_READINGS}hum,L,-0.6,mV,\n",
            f"{_READINGS}input sensitivity L,,148,mV,\n",
            f"{_READINGS}DC offset,L,12,Q,\n",
            f"{_READINGS}DC offset,L,12,,\n",
            f"{_READINGS}damping factor,L,12,mV,\n",
            f"{_READINGS}THD,L,12,mV,\n",
            f"{_READINGS}gain,L,12,mV,\n",
            f"{_READINGS}power,L,12,V,\n",
            f"{_READINGS}rise time,L,12,V,\n",
            f"{_READINGS}source impedance,L,12,V,\n",
            f"{_READINGS}frequency,L,12,V,\n",
            f"{_READINGS}dampng factor,L,60,,\n",
            f"{_READINGS}DC offset,L,12,mV,0 W\n",
            f"{_READINGS}DC offset,L,12,mV,0 Hz\n",
            f"{_READINGS}DC offset,L,12,mV,-8 ohm\n",
            f"{_READINGS}DC offset,L,12,mV,0 V\n",
            f"{_READINGS}DC offset,L,12,mV,0 %\n",
            f"{_READINGS}DC offset,L,12,mV,re 0 W\n",
            f"{_READINGS}DC offset,L,12,mV,\nDC offset,L,13,mV,\n",
            f'{_READINGS}DC offset,L,"1,5",mV,\n',
            "name;value;unit\nDC offset;1,100;mV\n",
            f'{_READINGS}DC offset,L,12,mV,"1,5 W"\n',
            f"{_READINGS}DC offset,L,1e40,mV,\n",
            f"{_READINGS}DC offset,L,12 mA,mV,\n",
            f'{_READINGS}DC offset,L,12,mV,"1 W; 2 W"\n',
            f"{_READINGS}crosstalk worst,L,-60,dB,\n",
        ),
    ),
}


def faults_of(read: Callable[[str], object], text: str) -> list[tuple[int, str]]:
    try:
        read(text)
    except InputError as error:
        return [(fault.line, fault.message) for fault in error.faults]
    return []


def pasted(text: str, at: int, message: str, pastes: dict[str, Paste]) -> list[str]:
    """The text with each alternative that a message names."""
    lines = text.removesuffix("\n").split("\n")
    for pattern, paste in pastes.items():
        if said := re.search(pattern, message):
            return ["\n".join(changed) + "\n" for changed in paste(lines, max(0, at - 1), said)]
    assert IN_WORDS.search(message), message
    return []


@pytest.mark.parametrize("name", CASES)
def test_what_is_suggested_leads_on(name):
    read, pastes, modules, texts = CASES[name]
    seen, stuck = [], []
    for text in texts:
        assert faults_of(read, text), text
        ways = [(text, 0, "")]
        while ways:
            now, count, came = ways.pop()
            faults = faults_of(read, now)
            seen += [message for _, message in faults]
            if came in seen[len(seen) - len(faults) :] or count > MOST_PASTED:
                stuck.append((came, now))
            elif faults:
                ways += [(changed, count + 1, faults[0][1]) for changed in pasted(now, *faults[0], pastes)]
    assert not stuck
    assert not unseen(modules, seen)

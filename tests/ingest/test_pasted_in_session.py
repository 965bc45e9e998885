"""Every value that a message suggests for session.toml, pasted there: it is accepted, and it leads on.

Each key of each table is given every sort of wrong value in a session otherwise right. What the message suggests
then takes that value's place, as a reader would put it; the next message may ask for something else, but within a few
steps the session is read.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from pathlib import Path

import pytest
from remedies import alternatives, remedy_of, unseen

from reviewkit.ingest.session import (
    session_file,
    session_measurements,
    session_quantities,
    session_ratings,
    session_sounds,
    session_tables,
    session_values,
    toml_lines,
)
from reviewkit.ingest.session.session_file import TABLES, parse_session
from reviewkit.ingest.session.session_schema import _UNIT, marks_of, schema_of
from reviewkit.measure.kinds import KINDS
from reviewkit.model import mains, units
from reviewkit.model.errors import InputError

Session = list[tuple[str, dict[str, str]]]  # header and keys, each value as TOML
MOST_PASTED = 4
UNIT = ("[unit]", {"maker": '"Norrvale"', "model": '"Forty"', "year": "1977"})
TONE = ("[[measurement]]", {"kind": '"tone"', "file": '"m.csv"'})
PRICE = {"paid": "329.00", "currency": '"USD"', "index": '"prices.csv"'}
TWO_LOADS = {"kind": '"source-impedance"', "loads": '["open", "8 ohm"]', "volts": '{ L = ["12.71 V", "12.46 V"] }'}
CONTOUR = {"kind": '"contour"', "file": '"n.csv"', "against": '"m"'}
POWER, GAIN, SNR = (
    {"quantity": f'"{name}"', "at_least": limit}
    for name, limit in (("power", '"40 W"'), ("gain", '"30 dB"'), ("snr", '"90 dB"'))
)
SOUND = {"id": '"music"', "before": '"m.csv"', "after": '"n.csv"'}
NOMINAL = {"quantity": '"input sensitivity"', "nominal": '"150 mV"', "tolerance": '"10 %"'}
# what stands around a key; other keys stand under the first table of their name
MORE: dict[str, tuple[dict[str, str], ...]] = {  # keys that don't go with every table
    "rated": (
        {"tones": '["60 Hz", "7 kHz"]'}, {"nominal": '"40 W"'}, {"at_most": '"40 W"'}, {"at_least": '"30 dB"'},
        {"level": '"2 V"', "power": '"5 W"'},
    ),
    "measurement": (
        {"without": '["19 kHz"]'}, {"loads": '["open", "8 ohm"]'}, {"card": '"rated"'}, {"id": '"Köln 2"'},
        {"file": '""'},
    ),
}  # fmt: skip
AROUND: dict[tuple[str, str], list[dict[str, str]]] = {
    ("rated", "at_least"): [POWER, GAIN, SNR, {"quantity": '"damping factor"', "at_least": "60"}],
    ("rated", "at_most"): [
        {"quantity": '"thd"', "at_most": '"0.1 %"'},
        {"quantity": '"crosstalk"', "at_most": '"-50 dB"'},
        {"quantity": '"hum"', "at_most": '"-80 dB"'},
        {"quantity": '"rise time"', "at_most": '"5 us"'},
    ],
    ("rated", "within"): [
        {"quantity": '"response"', "within": '"0.5 dB"'},
        {"quantity": '"speed error"', "within": '"0.5 %"'},
    ],
    ("rated", "conditions"): [{"quantity": '"flutter rate"', "at_most": '"1 %"', "conditions": '{ tape = "chrome" }'}],
    ("rated", "level"): [{"quantity": '"thd"', "at_most": '"0.1 %"'}],
    ("rated", "nominal"): [
        NOMINAL,
        {"quantity": '"speed"', "nominal": '"33.3 rpm"', "tolerance": '"1 %"'},
        {"quantity": '"source impedance"', "nominal": '"600 ohm"'},
    ],
    ("rated", "tolerance"): [
        NOMINAL,
        {"quantity": '"gain"', "nominal": '"30 dB"', "tolerance": '"1 dB"'},
        {"quantity": '"speed"', "nominal": '"33.3 rpm"', "tolerance": '"1 %"'},
    ],
    ("rated", "tones"): [{"quantity": '"imd"', "at_most": '"0.1 %"'}, POWER],
    ("rated", "reference"): [SNR],
    ("measurement", "loads"): [TWO_LOADS],
    ("measurement", "volts"): [TWO_LOADS],
    ("measurement", "against"): [CONTOUR],
    ("sound", "id"): [SOUND],
    ("sound", "to"): [{**SOUND, "from": '"2 s"'}],
    ("sound", "from"): [{**SOUND, "to": '"5 s"'}],
    ("sound", "match"): [SOUND, {**SOUND, "of": '"music"'}, {**SOUND, "of": '"hum"'}],
    ("sound", "of"): [{**SOUND, "match": "true"}],
    ("measurement", "drive"): [TONE[1], {**TONE[1], "load": '"open"'}],
}
USUAL = {
    "unit": UNIT[1],
    "price": PRICE,
    "bench": {},
    "rated": POWER,
    "measurement": TONE[1],
    "sound": SOUND,
    "episode": {},
    "look": {},
    "cards": {},
    "files": {},
}
WRONG = (
    '5', '-5', '0', '1.5', '99999', 'nan', 'inf', 'true', '""', '" "', '"x"', '"5"', '"-5"', '"0"', '"5 W"', '"-5 W"',
    '"0 W"', '"5 Q"', '"5 dBV"', '"-5 dB"', '"5 dB"', '"0 dB"', '"5 %"', '"500 %"', '"-5 %"', '"-5 kHz"', '"5 V"',
    '"-5 V"', '"1,5 W"', '"1,500 W"', '"five watts"', '"about 1,5 W"', '"1e300 W"', '"1e-300 W"', '"1e400 V"',
    '"5 ohm"', '"-5 ohm"', '"-5 s"', '"5000 s"', '"5 dBFS"', '"-5 dBFS"', '"120"', '"120 V 120 V"', '"0 V 60 Hz"',
    '"volt 60 Hz"', '"$"', '"usd"', '"dollars"', '"red"', '"12.5"', '12.5', '"music power"', '"dampng factor"',
    '"FM capture ratio"',
    '"slew rate"', '"bot"', '"befor"', '"responce"', '"rated"', '"table"', '"my card!"', '"m"', '"n"', '"../m.csv"',
    '"gone.csv"', '"m\\\\n.csv"', '"folder"', '"two\\nlines"',
    f'"{"x" * 1200}"',
    '[]', '[5]', '["5"]', '["20 Hz"]', '["20", "20 kHz"]', '["20 kHz", "20 Hz"]', '["20 Hz", "20 kHz", "1 Hz"]',
    '["1 dB", "3 dB"]', '["-1 dB"]', '["8 ohm", "8 ohm"]', '["8 ohm", "-4 ohm"]', '{}', '{ L = "5 V" }',
    '{ L = ["5"] }', '{ X = ["5 V"] }', '{ L = ["5 V"] }', '{ L = ["5 V", "0 V"] }', '{ L = [] }', '{ left = 0 }',
    '"5 us"', '"5 + 5 us"', '"-5 nWb/m"', '"0 nWb/m"', '["-1 %", "1 V"]', '{ level = "5" }', '{ tape = "" }',
    '{ left = true }', '{ left = "" }', '{ lft = "Ch 1" }', '{ left = "dBQ" }', '{ left = "Ch 1" }',
)  # fmt: skip


def toml(session: Session) -> str:
    return "".join(
        f"{header}\n" + "".join(f"{key} = {value}\n" for key, value in keys.items()) for header, keys in session
    )


def faults_of(session: Session | str, folder: Path) -> list[str]:
    try:
        parse_session(session if isinstance(session, str) else toml(session), folder, kinds=KINDS)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("m.csv", "n.csv", "prices.csv"):
        (tmp_path / name).write_text("x")
    (tmp_path / "measurements").mkdir()
    (tmp_path / "measurements" / "response.csv").write_text("x")
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "m.csv").write_text("x")
    return tmp_path


def with_table(name: str, keys: Mapping[str, str]) -> Session:
    """A session that holds this table last."""
    header = f"[[{name}]]" if name in ("rated", "measurement", "sound") else f"[{name}]"
    before: Session = [] if name == "unit" else [UNIT]
    before += [TONE] if name == "measurement" and keys.get("file") != TONE[1]["file"] else []
    return copy.deepcopy([*before, (header, dict(keys))])


def keys_of_each_sort(name: str) -> list[str]:
    """One key of each sort of value in a table, and all that AROUND names."""
    of_mark = {mark: _UNIT.sub("", field) for field, mark in reversed(marks_of(TABLES[name]).items())}
    return list(dict.fromkeys([*of_mark.values(), *(key for table, key in AROUND if table == name)]))


def mistakes(name: str) -> Iterator[Session]:
    """Sessions with a mistake in their last table, which is of this name."""
    known = schema_of(TABLES[name]).examples()
    for key in keys_of_each_sort(name):
        for around in AROUND.get((name, key), [USUAL[name]]):
            for wrong in WRONG:
                yield with_table(name, {**around, key: wrong})
    for around in (USUAL[name], *(each for (table, _), group in AROUND.items() if table == name for each in group)):
        for key in around:
            yield with_table(name, {each: value for each, value in around.items() if each != key})
        for more in MORE.get(name, ()):
            yield with_table(name, {**around, **more})
    for near in [key[:-1] for key in known if len(key) > 3 and key[:-1] not in known]:
        yield with_table(name, {**USUAL[name], near: "5"})
    if name == "price":
        yield [("[unit]", {"maker": '"Norrvale"', "model": '"Forty"'}), ("[price]", dict(PRICE))]
    if name == "sound":
        yield [UNIT, ("[[sound]]", dict(SOUND)), ("[[sound]]", dict(SOUND))]
    if name == "measurement":
        for first, second in (({}, {}), ({"stage": '"before"'}, {"id": '"n"'})):
            yield [UNIT, (TONE[0], {**TONE[1], **first}), (TONE[0], {**TONE[1], **second})]
        yield [UNIT, (TONE[0], dict(TWO_LOADS)), (TONE[0], dict(TWO_LOADS))]
        yield [UNIT, (TONE[0], {**CONTOUR, "against": '"n"'})]


def key_of(fault: str, keys: Mapping[str, str]) -> str:
    """The key that a message is about: the first word behind the table's name that is one of its keys."""
    words = re.sub(r"^session\.toml:\d+: (?:\[\[\w+\]\] .*?:|\[\w+\]) ", "", fault)
    first = re.match(r"\w+", words)
    return first[0] if first and first[0] in keys else ""


def pasted(session: Session, fault: str) -> Iterator[Session]:
    """The session with what a message suggests in the place of what it is about: the last table's key, or the table."""
    remedy, key = remedy_of(fault), key_of(fault, session[-1][1])
    value = session[-1][1].get(key, "")
    ways: list[list[tuple[str, str]]] = alternatives(remedy)
    if "decimal mark as a point" in remedy:
        ways.append([(key, value.replace(",", "" if "no thousands" in remedy else "."))])
    if "write it in quotation marks" in remedy and "." not in key_path(fault):
        ways.append([(key, f'"{value}"')])
    if "leave it out" in remedy or "leave stage out" in remedy or "write nominal in place" in remedy:
        ways.append([])
    for way in ways:
        changed = copy.deepcopy(session)
        keys = changed[-1][1]
        if "in place of the limit" in remedy:
            limit = next(each for each in ("at_least", "at_most", "within") if each in keys)
            keys["nominal"] = keys.pop(limit)
        elif not way:  # leave it out: the stage, everywhere
            for _, each in changed if not key else ():
                each.pop("stage", None)
            keys.pop(key, None)
        elif "unknown key" in fault:
            keys[way[0][1].strip('"')] = keys.pop(key)
        elif (
            key in ("columns", "units") and "is not a column; " in fault and (word := re.search(r': "(\w+)" is', fault))
        ):
            keys[key] = value.replace(f"{word[1]} =", f"{way[0][1]} =")
        elif way[0][0] == "":
            keys[key] = way[0][1]
        else:
            of_key = keys.pop(key, None) if key not in dict(way) else None
            keys |= dict(way)
            if of_key and (behind := re.search(r" with (\w+)$", remedy)):
                keys[behind[1]] = of_key
        yield changed


def key_path(fault: str) -> str:
    """The key as a message names it: volts.L, columns.left."""
    named = re.search(r" ([\w.]+)(?: =|:) ", fault.split(": ", 1)[1])
    return named[1] if named else ""


def follow(session: Session, folder: Path, seen: list[str]) -> list[str]:
    """What doesn't lead on, pasting every alternative of every message; the messages go to `seen`."""
    stuck: list[str] = []
    ways = [(session, 0, "")]
    while ways:
        now, count, came = ways.pop()
        faults = faults_of(now, folder)
        seen += faults
        if came in faults or count > MOST_PASTED:
            stuck.append(f"{came or faults} | {now[-1]}")
            continue
        for fault in faults[:1]:
            ways += [(each, count + 1, fault) for each in pasted(now, fault)]
    return stuck


def followed(folder: Path, step: int = 1) -> tuple[list[str], list[str]]:
    """What doesn't lead on, and every message seen; of the mistakes in each table every `step`th."""
    stuck: list[str] = []
    seen: list[str] = []
    for name in TABLES:
        for session in islice(mistakes(name), None, None, step):
            stuck += follow(session, folder, seen)
    return stuck, seen


def test_a_suggested_value_leads_on(folder):
    stuck, seen = followed(folder, step=7)
    assert not stuck
    assert len(set(seen)) > 500


@pytest.mark.long
def test_every_suggested_value_leads_on(folder):
    stuck, seen = followed(folder)
    assert not stuck
    messages = {*seen, *(fault for text in TEXTS for fault in faults_of(text, folder))}
    assert unseen(MODULES, messages) == NOT_OF_A_TEXT


# ------------------------------------------------------------------ the text itself

MODULES = (
    session_values, session_quantities, session_ratings, session_tables, session_measurements, session_sounds,
    session_file, toml_lines, mains, units,
)  # fmt: skip
NOT_OF_A_TEXT = ["write one, at least with [unit] maker and model"]  # of a folder without a session.toml
_HEAD = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
_LINE = re.compile(r"session\.toml:(\d+): ")
# what a message says to do with its line: the words, and the line as it is then
LINES: dict[str, Callable[[str, re.Match[str]], str]] = {
    r"write a table of that name: \[bench\.NAME\]": lambda line, _: f'{line}\n[bench.phono]\nload = "8 ohm"',
    r"write straight quotation marks": lambda line, _: re.sub("[\u201c\u201d]", '"', line),
    r"write (\[\[\w+\]\]), with two brackets": lambda line, said: said[1],
    r"is a single table; write (\[\w+\])": lambda line, said: said[1],
    r"write / between the parts": lambda line, _: line.replace("\\", "/"),
    r"write \" at the end of the text": lambda line, _: line + '"',
    r"the bracket is not closed; write (\S+)$": lambda line, said: said[1],
    r"write one after the equals sign, or leave the key out": lambda line, _: "",
    r"has a space in it; write (\w+)$": lambda line, said: f"{said[1]} ={line.partition('=')[2]}",
    r"needs quotation marks; write (\w+ = \".*\")$": lambda line, said: said[1],
    r"or begin a comment with #": lambda line, _: f"# {line}",
    r"write the decimal mark as a point and no thousands mark": lambda line, _: line.replace(",", "."),
    r"unknown table; did you mean \"(\w+)\"": lambda line, said: f"[{said[1]}]",
}
TEXTS = (
    f"{_HEAD}[price]\npaid = 329,5\ncurrency = \u201cUSD\u201d\nindex = \u201cprices.csv\u201d\nyear = 1977\n",
    f"{_HEAD}mains = \u201c120 V 60 Hz\u201d\n",
    f'{_HEAD}[rated]\nquantity = "power"\nat_least = "40 W"\n[[rated]]\nquantity = "hum"\nat_most = "-80 dB"\n',
    f'{_HEAD}[rated]\nquantity = "power"\nat_least = "40 W"\n',
    f'{_HEAD}[[bench]]\nload = "8 ohm"\n',
    f'{_HEAD}[benhc]\nload = "8 ohm"\n',
    f'{_HEAD}[[measurement]]\nkind = "tone"\nfile = "measurements\\response.csv"\n',
    f'{_HEAD}[[measurement]]\nkind = "tone"\nfile = "folder\\m.csv"\n',
    f'{_HEAD}mains = "120 V 60 Hz\n',
    f'{_HEAD}[[rated\nquantity = "power"\nat_least = "40 W"\n',
    f'{_HEAD}[bench\nload = "8 ohm"\n',
    f"{_HEAD}mains =\n",
    f'{_HEAD}[[rated]]\nquantity = "power"\nat least = "40 W"\n',
    f"{_HEAD}mains = 120 V 60 Hz\n",
    f"{_HEAD}the one from the attic\n",
    f"{_HEAD}year = 1,977\n",
    f'{_HEAD}[bench]\nequipment = ["two loads"\n[episode]\n',
    f"{_HEAD}# {'x' * 3000}\n",
    f"{_HEAD}{'a.' * 30}b = 1\n",
    "",
    "look = 3\n" + _HEAD,
    f"{_HEAD}[bench]0\n",
    f'{_HEAD}[[measurement]]\nkind = "tone"\nfile = "folder/m.csv"\nrange = "phono"\n',
)


def repaired(text: str, fault: str) -> str | None:
    """The text with the line that a message suggests; None if it names none."""
    written = [(key, value) for way in alternatives(remedy_of(fault)) for key, value in way]
    if "there is no [unit]" in fault:
        return "\n".join(["[unit]", *(f"{key} = {value}" for key, value in written if key)])
    place = _LINE.match(fault)
    lines = text.split("\n")
    number = int(place[1]) - 1 if place else 0
    if above := re.search(r"the (\[\w+\]) above it", fault):
        number = lines.index(above[1])
    for words, change in LINES.items():
        if said := re.search(words, fault):
            lines[number] = change(lines[number], said)
            return "\n".join(lines)
    if written and "=" in lines[number]:
        lines[number] = f"{lines[number].partition('=')[0]}= {written[0][1]}"
        return "\n".join(lines)
    return None


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: " ".join(text.removeprefix(_HEAD).split())[:40])
def test_a_suggested_line_leads_on(text, folder):
    for _ in range(MOST_PASTED):
        faults = faults_of(text, folder)
        if not faults:
            return
        changed = repaired(text, faults[0])
        if changed is None:
            # nothing to paste: brackets to close somewhere, a line to shorten
            assert re.search(
                r"write \] at its end|write at most|write one key a line|in brackets, and its keys below it", faults[0]
            ), faults
            return
        assert faults[0] not in faults_of(changed, folder), changed
        text = changed
    pytest.fail(f"not read after {MOST_PASTED} pastes: {text}")

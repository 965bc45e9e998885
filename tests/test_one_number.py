"""One number, one place: whatever output a number with a unit stands in, it is the formatter's text of a finding in
findings.json, or a value that the session itself states. Nothing is computed, rounded or retyped on the way.

The accepted texts are built here from findings.json and from the session's own files, never from another output.
"""

from __future__ import annotations

import csv
import html.parser
import io
import json
import math
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from texts_on_cards import texts_on

from reviewkit.model import digits, quantities
from reviewkit.model.episode import Episode
from reviewkit.model.finding import Finding
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating
from reviewkit.model.spoken import spell_units, spoken

UNITS = "kHz|Hz|mW|W|µV|mV|V|dB/octave|dB|mΩ|kΩ|Ω|ohm|%|mA|ms|µs|ns|s"
_NUMBER = r"\d+(?:,\d{3})*(?:\.\d+)?"
# a number with its unit; two extremes that share one unit; an amount of money; a figure that has no unit, known by
# the words around it
TOKEN = re.compile(
    rf"(?P<pair>[+−]{_NUMBER} to [+−]{_NUMBER} dB(?!\w))"
    rf"|(?P<figure>(?:[≤≥] |[+−±])?{_NUMBER} (?:{UNITS})(?!\w))"
    rf"|(?P<money>[$€£¥]{_NUMBER})"
    rf"|(?:[:,] rated|, measured) (?P<bare>{_NUMBER})(?! ±)(?=[,. ]?(?:$|[ ,.]))"
)
# in what is said, a figure whose unit was just said has none: there, every number counts
SAID = re.compile(rf"(?:[≤≥] |[+−±])?{_NUMBER} (?:{UNITS})(?!\w)|[$€£¥]{_NUMBER}|(?<![\w.]){_NUMBER}")
# what a corner is: half the power, said as 3 dB; what a contour is held against stands at 0 dB;
# what a rise is timed between
DEFINITIONS = {"3 dB", "0 dB", "10 %", "90 %"}


def tokens(text: str, output: str = "") -> list[str]:
    """Every number with a unit in a text, as it is written; in the outline every number."""
    if output == "outline.md":
        return SAID.findall(text)
    found = []
    for match in TOKEN.finditer(text):
        if match["pair"]:
            low, _, high, unit = match["pair"].split(" ")
            found += [f"{low} {unit}", f"{high} {unit}"]
        elif match["bare"]:
            # where a unit follows after all, the token is the figure with its unit
            whole = re.match(rf"[+−±]?{_NUMBER} (?:{UNITS})(?!\w)", text[match.start("bare") :])
            found.append(whole[0] if whole else match["bare"])
        else:
            found.append(match["figure"] or match["money"])
    return found


# ------------------------------------------------------------------ what may be written


def finding_of(entry: dict[str, Any]) -> Finding:
    known = {key: entry[key] for key in ("quantity", "channel", "value", "unit", "at", "measurement", "kind", "stage")}
    bound = {"bound": entry.get("bound", ""), "floor": entry.get("floor")}
    return Finding(**known, source=entry["source"], uncertainty=entry.get("uncertainty"), **bound)


def texts_of_findings(findings: Iterable[Finding]) -> Iterator[str]:
    for f in findings:
        yield quantities.show(f)
        # "72.2 dB below the tone", "falls by 5.3 dB/octave": the side is said in a word
        yield quantities.show(f).lstrip("+−")
        # where the uncertainty decides, it stands beside the figure
        yield from tokens(quantities.with_uncertainty(f))
        if f.quantity.startswith("crosstalk"):
            # a maker's separation is crosstalk with the other sign
            yield quantities.show(finding_of({**vars(f), "value": -f.value}))


def texts_of_conditions(findings: Iterable[Finding], episode: Episode) -> Iterator[str]:
    stated = [
        {"frequency": m.frequency_hz, "power": m.drive_w, "voltage": m.drive_v, "load": m.load_ohm}
        for m in episode.session.measurements
    ]
    for at in [*(f.at for f in findings), *stated]:
        for key, write in (
            ("frequency", quantities.hertz),
            ("line_width", quantities.hertz),
            ("power", quantities.watts),
            ("voltage", quantities.volts),
            ("load", quantities.load),
            ("limit", quantities.percent),
        ):
            if at.get(key) is not None:
                yield at[key] if at[key] == "open" else write(at[key])
        for edge in at.get("band", ()):
            yield quantities.hertz(edge)
        yield from tokens(quantities.tones(tuple(at["tones"])) if "tones" in at else "")
    for m in episode.session.measurements:
        # the two readings of a source at two loads, with the digits that were written
        for channel, volts in m.volts.items():
            yield from (f"{value:.{round(-math.log10(m.volts_step[channel]))}f} V" for value in volts)


def texts_of_rating(r: Rating) -> Iterator[str]:
    write = {"W": quantities.watts, "V": quantities.volts, "Hz": quantities.hertz, "%": quantities.percent}
    for limit in (r.at_least, r.at_most):
        if limit is not None and r.unit in write:
            yield write[r.unit](limit)
        elif limit is not None:
            yield f"{digits.trimmed(limit).replace('-', digits.MINUS)} {r.unit}".strip()
    if r.within is not None:
        yield quantities.limit_within(*r.within)
    for value, how in (
        (r.load_ohm, quantities.load),
        (r.frequency_hz, quantities.hertz),
        (r.power_w, quantities.watts),
        (r.nominal, quantities.volts),
        (r.reference_w, quantities.watts),
        (r.thd_percent, quantities.percent),
        (r.thd_plus_noise_percent, quantities.percent),
    ):
        if value is not None:
            yield how(value)
    for edge in r.band_hz or ():
        yield quantities.hertz(edge)


def texts_of_margins(episode: Episode, findings: Iterable[Finding]) -> Iterator[str]:
    """How far each figure that answers a rating lies from its limit: a share of the limit, or a difference in dB."""
    for rating in episode.session.ratings:
        for f in findings:
            if f.quantity not in RULES[rating.quantity].findings or f.stage == "before":
                continue
            if rating.quantity == "power" and f.at.get("limit") not in (
                rating.thd_percent,
                rating.thd_plus_noise_percent,
            ):
                continue
            limit = rating.at_least if rating.at_least is not None else rating.at_most
            if rating.within is not None:
                room = min(rating.within[1], -rating.within[0]) - abs(f.value)
                yield from both_ways(f"{digits.signed(room, quantities.flatness_decimals(room))} dB")
            elif RULES[rating.quantity].margin == "db" and limit is not None:
                yield from both_ways(f"{digits.signed(abs(f.value) - abs(limit), 1)} dB")
            elif rating.nominal:
                share = 100 * (f.value / rating.nominal - 1)
                yield f"{digits.signed(share, 1 if abs(share) < 0.95 else 0)} %"
            elif RULES[rating.quantity].margin == "percent" and limit:
                share = 100 * (f.value / limit - 1)
                yield from both_ways(f"{digits.signed(share, 1 if abs(share) < 0.95 else 0)} %")


def both_ways(signed: str) -> tuple[str, str]:
    """A margin as the table has it, and without its sign as it is said."""
    return signed, signed.lstrip("+−")


def texts_of_repair(folder: Path) -> Iterator[str]:
    with (folder / "repair.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            for cell in (row["expected"], row["found"], row["after"]):
                if cell and cell not in ("open", "short"):
                    yield f"{cell} {row['unit']}".replace("-", digits.MINUS).replace("ohm", "Ω")
            if row["tolerance"]:
                yield row["tolerance"].replace("ohm", "Ω")


def texts_of_money(episode: Episode, data: dict[str, Any]) -> Iterator[str]:
    """Paid and fair as they stand in session.toml; now, from findings.json, to the nearest ten below ten thousand."""
    tag = episode.session.price
    assert tag is not None
    assert tag.currency == "USD"
    for amount in (tag.paid, tag.fair):
        if amount is not None:
            yield f"${amount:,.0f}" if float(amount).is_integer() else f"${amount:,.2f}"
    now = data["price"]["now"]
    assert now == pytest.approx(tag.paid * data["price"]["factor"])
    yield f"${round(now / 10) * 10:,}"


def texts_of_the_users_words(episode: Episode) -> Iterator[str]:
    """Numbers in free text of the session, which stands as the user wrote it."""
    session = episode.session
    words = [session.bench.mains, session.unit.mains, session.episode.title, *session.bench.equipment]
    words += [text for m in session.measurements for text in (m.setting, m.title)]
    words += [str(f.at.get("setting", "")) for f in episode.findings]
    words += [f.note for f in episode.findings]
    words += [text for row in episode.repair for text in (row.point, row.action, row.note)]
    words += [f"{length_s:.1f} s" for sound in episode.sounds for length_s in sound.lengths_s.values()]
    for text in words:
        yield from tokens(text)
    if session.bench.distortion_floor_percent is not None:
        yield quantities.percent(session.bench.distortion_floor_percent)
    if session.bench.load_tolerance_percent is not None:
        yield f"±{quantities.percent(session.bench.load_tolerance_percent)}"
    if session.bench.level_uncertainty_db is not None:
        yield f"{digits.trimmed(session.bench.level_uncertainty_db)} dB"


# ------------------------------------------------------------------ what is written


class _Visible(html.parser.HTMLParser):
    """The text of a page that a reader sees or is read to, block by block; its table rows apart."""

    BLOCKS = frozenset(["p", "h1", "h2", "h3", "li", "td", "th", "tr", "figure", "section", "div", "title"])

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[str] = [""]
        self.rows: list[list[str]] = []
        self._hidden = 0
        self._in_cell = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in ("style", "script")
        if tag in self.BLOCKS or ("class", "words") in attrs:  # the prompter has figures in digits, then in words
            self.blocks.append("")
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self._in_cell = True
            self.rows[-1].append("")
        if tag == "img":
            self.blocks.append(dict(attrs).get("alt") or "")
            self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("style", "script")
        self._in_cell = self._in_cell and tag not in ("td", "th")
        if tag in self.BLOCKS:
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.blocks[-1] += data
            if self._in_cell:
                self.rows[-1][-1] += data


def visible(page: str) -> _Visible:
    seen = _Visible()
    seen.feed(page)
    return seen


def written(sample, episode: Episode) -> dict[str, list[str]]:
    """The texts of every output by its name."""
    table = csv.reader(io.StringIO(sample.text("spec-table.csv")))
    return {
        "outline.md": [text for segment in episode.segments for text in segment.sentences],
        "description.txt": sample.text("description.txt").splitlines(),
        "comment.txt": sample.text("comment.txt").splitlines(),
        "spec-table.md": re.split(r"[|\n]", sample.text("spec-table.md").replace("\\", "")),
        "spec-table.csv": [cell for row in table for cell in row],
        "spec-table.html": visible(sample.text("spec-table.html")).blocks,
        "episode.html": visible(sample.text("episode.html")).blocks,
        "cards": [text for still in episode.stills for text in texts_on(still)],
    }


# ------------------------------------------------------------------ the comparison


@pytest.fixture(scope="module")
def data(sample) -> dict[str, Any]:
    return json.loads(sample.text("findings.json"))


@pytest.fixture(scope="module")
def findings(data) -> list[Finding]:
    return [finding_of(entry) for entry in data["findings"]]


@pytest.fixture(scope="module")
def accepted(sample, episode, data, findings) -> set[str]:
    return {
        *texts_of_findings(findings),
        *texts_of_conditions(findings, episode),
        *(text for rating in episode.session.ratings for text in texts_of_rating(rating)),
        *texts_of_margins(episode, findings),
        *texts_of_repair(sample.folder),
        *texts_of_money(episode, data),
        *texts_of_the_users_words(episode),
        *DEFINITIONS,
    }


@pytest.fixture(scope="module")
def said(accepted, episode) -> set[str]:
    """What may be said: the same, also without its unit, the years, and how many tones there were."""
    numbers = {match[0] for text in accepted for match in re.finditer(_NUMBER, text)}
    years = {f"{year}" for year in (episode.session.unit.year, episode.session.price.to)}
    counts = {f"{f.at['tones_count']}" for f in episode.findings if "tones_count" in f.at}
    own = {token for m in episode.session.measurements for token in tokens(m.setting, "outline.md")}
    return accepted | numbers | years | counts | own


@pytest.fixture(scope="module")
def outputs(sample, episode) -> dict[str, list[str]]:
    return written(sample, episode)


def strangers(texts: Iterable[str], accepted: set[str], output: str = "") -> list[str]:
    """Numbers that stand for nothing that was measured or stated, with the text that they stand in."""
    return [f"{token} in: {text}" for text in texts for token in tokens(text, output) if token not in accepted]


FEWEST = {
    "outline.md": 80,
    "description.txt": 20,
    "comment.txt": 8,
    "spec-table.md": 40,
    "spec-table.csv": 40,
    "spec-table.html": 40,
    "episode.html": 600,
    "cards": 200,
}


@pytest.mark.parametrize("name", FEWEST)
def test_every_number_is_a_finding_or_a_stated_value(name, outputs, accepted, said):
    assert strangers(outputs[name], said if name == "outline.md" else accepted, name) == []
    assert sum(len(tokens(text, name)) for text in outputs[name]) >= FEWEST[name]


def test_no_output_is_left_out(outputs, sample):
    texts = {path.name for path in sample.out.iterdir() if path.suffix in (".md", ".txt", ".csv", ".html")}
    # the plan says what is to be done, at levels worked out for that; the prompter speaks, see below
    assert texts <= {*outputs, "plan.md", "plan.html", "prompter.html", "chapters-planned.txt"}


@pytest.mark.parametrize("name", FEWEST)
def test_one_altered_digit_is_caught(name, outputs, findings, accepted, said):
    accepted = said if name == "outline.md" else accepted
    stands_in = {token: text for text in outputs[name] for token in tokens(text, name)}
    shown = {quantities.show(f) for f in findings if f.stage == "after"} & set(stands_in)
    caught = 0
    for token in sorted(shown):
        last = [place for place, sign in enumerate(token) if sign.isdigit()][-1]
        for other in "0123456789":
            altered = token[:last] + other + token[last + 1 :]
            if altered not in accepted:
                # two extremes share one unit, so the number alone is exchanged
                text = stands_in[token].replace(token.split(" ")[0], altered.split(" ")[0])
                assert strangers([text], accepted, name)
                caught += 1
    # the accepted texts are few against all that a slip could write
    assert caught > 0.5 * 9 * len(shown) > 0


def test_the_outline_speaks_each_sentence_of_the_bench_and_no_other(sample, episode):
    """What was checked above for its figures is what is read aloud, their units in words."""
    lines = [
        line[2:] for line in sample.text("outline.md").splitlines() if line.startswith("- ") and "Play **" not in line
    ]
    notes = [note.text for segment in episode.segments for note in segment.notes if note.text]
    of_the_bench = [line for line in lines if not any(line.startswith(text) for text in [*notes, "Play **"])]
    sentences = [text for segment in episode.segments for text in segment.sentences]
    assert of_the_bench == [spell_units(text) for text in sentences]
    assert sum(len(SAID.findall(line)) for line in of_the_bench) > 60
    for line, text in zip(of_the_bench, sentences, strict=True):
        assert set(re.findall(_NUMBER, line)) <= set(re.findall(_NUMBER, text))
    on_the_prompter = {block.strip().lower() for block in visible(sample.text("prompter.html")).blocks}
    assert {spoken(text).lower() for text in sentences} <= on_the_prompter


def test_the_page_lists_every_finding_in_order(sample, findings):
    rows = [row for row in visible(sample.text("episode.html")).rows if len(row) == 5]
    start = next(place for place, row in enumerate(rows) if row[2] == "figure") + 1
    listed = [(row[2].strip(), row[4].strip()) for row in rows[start:]]
    assert listed == [(quantities.show(f), f.measurement) for f in findings]
    assert len(listed) > 100


def test_the_table_says_the_same_in_all_three_files(sample, data):
    table = list(csv.DictReader(io.StringIO(sample.text("spec-table.csv"))))
    lines = [line for line in sample.text("spec-table.md").splitlines() if line.startswith("| ")][2:]
    in_markdown = [[re.sub(r"\\(.)", r"\1", cell.strip()) for cell in line.strip("| ").split(" | ")] for line in lines]
    in_page = [row for row in visible(sample.text("spec-table.html")).rows if len(row) == 5][1:]
    assert len(table) == len(in_markdown) == len(in_page) >= 8
    for row, cells, seen in zip(table, in_markdown, in_page, strict=True):
        named = [row[key].removeprefix("'") for key in ("what", "rated", "measured")]
        assert cells[:3] == named
        assert [cell.strip() for cell in seen[:3]] == named
    measured = [" at ".join(filter(None, (v["measured"] or "–", v.get("measured_at")))) for v in data["verdicts"]]
    assert [row["measured"] for row in table][: len(measured)] == measured


def test_numbers_in_findings_json_are_not_rounded(findings):
    long = [f for f in findings if len(repr(f.value)) > 12]
    assert len(long) > 0.8 * len(findings)
    assert all(math.isfinite(f.value) for f in findings)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("from 20 Hz – 20 kHz, 5 W into 8 Ω", ["20 Hz", "20 kHz", "5 W", "8 Ω"]),
        ("−0.28 to +0.00 dB", ["−0.28 dB", "+0.00 dB"]),
        ("±0.37 dB, −64.0 dB", ["±0.37 dB", "−64.0 dB"]),
        ("≤ 0.0010 % THD", ["≤ 0.0010 %"]),
        ("$329 is about $1,700", ["$329", "$1,700"]),
        ("at 9:42, 150 words, page 14", []),
    ],
)
def test_the_collector_finds_what_is_written(text, found):
    assert tokens(text) == found


def test_the_collector_finds_every_number_that_is_said():
    text = "Damping factor, 1 kHz: rated 60, I get 52. Left, 0.021 %. Right: 1.4. New, $329 in 1977."
    assert tokens(text, "outline.md") == ["1 kHz", "60", "52", "0.021 %", "1.4", "$329", "1977"]

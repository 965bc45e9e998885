"""Whole sessions of other gear: what the table, the outline, the plan and the cards of each say."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from gear_sessions import SESSIONS

from reviewkit.commands import cli

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Builds a session once, and returns its out/."""
    done: dict[str, Path] = {}

    def build(name: str) -> Path:
        if name not in done:
            folder = tmp_path_factory.mktemp(name)
            for path, text in SESSIONS[name].items():
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                (folder / path).write_text(text, encoding="utf-8")
            assert cli.run(["build", str(folder)]) == cli.DONE
            done[name] = folder / "out"
        return done[name]

    return build


def text(out: Path, name: str) -> str:
    return (out / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", SESSIONS)
def test_what_is_no_amplifier_has_nothing_of_one(name, built):
    out = built(name)
    said = " ".join(text(out, each) for each in ("outline.md", "plan.md", "description.txt", "spec-table.md"))
    assert "Undefined" not in said
    if name != "receiver":
        for words in ("dummy load", "Dummy load", "Does it make its power", "ias of each channel", "no load is stated"):
            assert words not in said
        assert "damping" not in text(out, "plan.md")


def test_a_tuner_s_table(built):
    table = text(built("tuner"), "spec-table.md")
    for row in (
        "| Usable sensitivity, FM | 10.3 dBf, FM, mono | 9.8 dBf | meets (as on the bench: at 98 MHz) | +0.5 dB |",
        "| Signal to noise at 65 dBf, FM (stereo) | 74 dB at 65 dBf, FM, stereo | 75.0 dB | meets",
        "| Capture ratio | 1 dB | 1.6 dB | falls short",
        "| AM suppression at 65 dBf | 65 dB at 65 dBf | 66.4 dB | meets",
        "| Image response ratio, 98 MHz | 90 dB, 98 MHz | 93.1 dB | meets | +3.1 dB |",
        "| Muting threshold | 19.2 dBf, nominal | 17.4 dBf, −1.8 dB | –",
        "| Selectivity | 60 dB | – | not measured |",
    ):
        assert row in table


def test_a_tuner_s_film_shows_what_the_meters_said(built):
    outline = text(built("tuner"), "outline.md")
    assert "**03-readings**" in outline
    assert "Capture ratio: rated one decibel, I get 1.6." in outline
    assert "AM suppression" in outline
    assert "am suppression" not in outline
    assert "98000 kHz" not in outline


def test_a_tuner_s_findings_hold_every_condition(built):
    findings = json.loads(text(built("tuner"), "findings.json"))
    rated = {each.get("called", each["quantity"]): each for each in findings["ratings"]}
    assert rated["usable sensitivity"]["conditions"] == {"mode": "mono"}
    assert rated["AM suppression"]["level"] == "65 dBf"


def test_a_receiver_s_radio_has_its_own_segment_after_the_amplifier(built):
    out = built("receiver")
    outline = text(out, "outline.md")
    assert "And its radio?" in outline
    assert outline.index("Does it make its power?") < outline.index("And its radio?")
    assert "04-fm-readings.png" in [path.name for path in (out / "cards").iterdir()]
    # the radio is not loaded as the amplifier is
    assert "into 8 Ω" not in text(out, "spec-table.md").split("Signal to noise")[1]


def test_a_deck_s_tapes_are_conditions(built):
    out = built("deck")
    table = text(out, "spec-table.md")
    # 0.3 dB an octave from 315 Hz is −1.58 dB at 12 kHz, 0.8 dB an octave would be out
    assert "relative to 315 Hz" in table
    response = next(line for line in table.splitlines() if line.startswith("| Response"))
    assert "±3 dB, 40 Hz – 12 kHz, tape chrome" in response
    assert "| meets" in response
    distortion = next(line for line in table.splitlines() if line.startswith("| Distortion"))
    assert "0.92 %" in distortion
    assert "| meets" in distortion
    noise = next(line for line in table.splitlines() if line.startswith("| Signal to noise"))
    assert "re 250 nWb/m" in noise
    assert "60.8 dB | meets" in noise
    outline = text(out, "outline.md")
    assert "noise reduction off, tape chrome" in outline.casefold()
    assert "Zero is 315 hertz." in outline
    # each tape has a card of its own
    assert {"chrome", "normal"} <= {path.stem.split("-", 1)[1] for path in (out / "cards").iterdir()}
    assert "tape chrome" in text(out, "findings.json") or '"tape": "chrome"' in text(out, "findings.json")


def test_a_loudspeaker_is_read_relative_to_a_mean(built):
    out = built("loudspeaker")
    assert "relative to the mean of 300 Hz – 3 kHz" in text(out, "spec-table.md")
    assert "+0.20 dB | – (1 V, relative to the mean of 300 Hz – 3 kHz)" in text(out, "spec-table.md")
    assert "Zero is the mean of 300 hertz to 3 kilohertz." in text(out, "outline.md")
    assert "Check the amplifier's DC offset first" in text(out, "plan.md")
    assert "| Minimum impedance | 6.4 Ω | 6.91 Ω | meets" in text(out, "spec-table.md")
    assert "| Sensitivity | 89 dB SPL at 1 W, distance 1 m, nominal | 88.4 dB SPL, −0.6 dB | –" in text(
        out, "spec-table.md"
    ).replace("Sensitivity at 1 W", "Sensitivity")


@pytest.mark.parametrize("name", SESSIONS)
def test_each_chapter_of_the_bench_is_named(name, built):
    titles = text(built(name), "chapters.vtt") + text(built(name), "chapters-planned.txt")
    assert "Does it make its power?" not in titles or name == "receiver"

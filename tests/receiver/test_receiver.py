"""An episode of another sort: a receiver that needed no repair, its tuner only partly measured."""

from __future__ import annotations

import json

import pytest
import receiver_session
from gear_sessions import RECEIVER, response

from reviewkit.build import pipeline
from reviewkit.build.build import build
from reviewkit.build.options import Options
from reviewkit.render.pages import text_outputs


@pytest.fixture(scope="module")
def receiver(tmp_path_factory):
    return pipeline.prepare(receiver_session.write(tmp_path_factory.mktemp("receiver")))


def test_it_builds_whole_and_says_what_was_not_measured(tmp_path):
    built = build(receiver_session.write(tmp_path / "receiver"), Options())
    names = {file.split("/")[0] for file in built.files}
    assert {"cards", "outline.md", "prompter.html", "episode.html", "description.txt", "findings.json"} <= names
    verdicts = {
        v["quantity"]: v["verdict"]
        for v in json.loads((built.out / "findings.json").read_text(encoding="utf-8"))["verdicts"]
    }
    assert verdicts == {
        "power": "meets",
        "damping_factor": "meets",
        "separation": "falls short",
        "flatness": "meets",
        "snr": "not measured",
        "distortion": "not measured",
    }


def test_its_figures_are_those_of_its_closed_forms(receiver):
    """The files are made from formulas, so the figures are known without reading them."""
    found = {(f.measurement, f.quantity, f.channel): f for f in reversed(receiver.episode.findings)}
    assert found["loads", "damping_factor", "R"].value == pytest.approx(8 / (0.112 * (1 + 1 / 81) ** 0.5), rel=2e-3)
    assert found["fm-separation", "separation", "L>R"].value == pytest.approx(41 - 10 * 0.01190, abs=0.02)
    assert found["fm-response", "channel_balance", "both"].value == pytest.approx(0.2, abs=0.005)


def test_nothing_is_said_of_a_repair(receiver):
    text = text_outputs.render_outline(receiver.episode, receiver.pages)
    assert "How does it measure?" in text
    assert not [word for word in ("before the repair", "fixed", "repaired") if word in text.casefold()]


def test_what_the_tuner_does_is_told_in_the_segment_that_shows_it(receiver):
    tuner = next(s for s in receiver.episode.segments if s.name == "tuner")
    assert tuner.title == "Tuner"
    assert len(tuner.sentences) >= 3
    assert not [
        s for other in receiver.episode.segments if other is not tuner for s in other.sentences if "FM ste" in s
    ]


def test_no_sentence_of_the_bench_stands_in_both_episodes(receiver, episode):
    """Cautions are the same wherever the danger is; what is said of one unit is not said of another."""
    one = {text for segment in episode.segments for text in segment.sentences}
    other = {text for segment in receiver.episode.segments for text in segment.sentences}
    assert len(one) > 35
    assert len(other) > 11
    assert one & other == set()


def test_the_verdicts_are_told_misses_first_and_never_as_something_else(receiver, episode):
    for told in (receiver.episode, episode):
        sentences = [s for segment in told.segments if segment.name == "verdict" for s in segment.sentences]
        first = [
            next(at for at, s in enumerate(sentences) if s.startswith(f"{verdict.label}:"))
            for word in ("falls short", "too close to call")
            for verdict in told.verdicts
            if verdict.verdict == word
        ]
        assert first == list(range(1, 1 + len(first)))
        for verdict in told.verdicts:
            own = " ".join(s for s in sentences if s.startswith(f"{verdict.label}:"))
            assert ("miss" in own or "short" in own) == (verdict.verdict == "falls short")


# its amplifier's response stays within 0.6 dB, its radio's doesn't stay within 1 dB
BOTH_HALVES = {
    "session.toml": RECEIVER["session.toml"]
    + """"frequency response" = "20 Hz – 20 kHz, ±1 dB"
"channel separation" = "50 dB at 1 kHz"
"FM stereo separation" = "40 dB at 1 kHz"
"FM capture ratio" = "1.5 dB"
"FM image rejection" = "70 dB"
"input sensitivity" = "phono 2.5 mV"

[[measurement]]
file = "measurements/fm-response.csv"
kind = "response"
input = "FM"
drive = "65 dBf"

[[measurement]]
file = "measurements/response.csv"
kind = "response"
drive = "1 W"
""",
    "measurements/fm-response.csv": response(0.5),
    "measurements/response.csv": response(0.1),
    "measurements/readings.csv": RECEIVER["measurements/readings.csv"]
    + """separation,,54.4,dB,"1 kHz, 5 W",
stereo separation,,41.2,dB,"FM, 1 kHz",
FM capture ratio,,1.2,dB,,
image rejection,,72,dB,FM,
input sensitivity,L,154,mV,"1 kHz, 40 W into 8 ohm",
""",
}


def test_a_rating_of_the_amplifier_is_answered_by_no_figure_of_the_radio(tmp_path):
    for name, text in BOTH_HALVES.items():
        place = tmp_path / name
        place.parent.mkdir(exist_ok=True)
        place.write_text(text, encoding="utf-8")
    prepared = pipeline.prepare(tmp_path)
    told = {v.label: (v.verdict, v.measured, v.remark) for v in prepared.episode.verdicts}
    assert told["Response, 20 Hz – 20 kHz"] == ("meets", "±0.56 dB", "")
    assert told["Separation, 1 kHz"] == ("meets", "54.4 dB", "")
    assert told["Separation, 1 kHz, FM"] == ("meets", "41.2 dB", "")
    assert told["Capture ratio, FM"] == ("meets", "1.2 dB", "")
    assert told["Image response ratio, FM"] == ("meets", "72 dB", "")
    assert told["Input sensitivity, phono"] == ("not measured", "", "only the aux input was measured")
    said = text_outputs.render_outline(prepared.episode, prepared.pages)
    assert "miss" not in said
    assert "41.2 dB down" not in said

"""session.toml as it should be, and the file it stands in."""

import math
from fractions import Fraction

import pytest
from session_texts import KINDS, UNIT, WHOLE

from reviewkit.ingest.session.session_file import parse_session, read_document
from reviewkit.ingest.session.toml_lines import parse_toml
from reviewkit.model.errors import InputError
from reviewkit.model.session import Bench, CardChoices, EpisodeSettings, PriceTag, Rating, Unit


def test_whole_session_is_read(folder):
    session = parse_session(WHOLE, folder, kinds=KINDS)
    assert session.unit == Unit("Norrvale", "Forty", "integrated amplifier", 1977, "120 V 60 Hz")
    assert session.price == PriceTag(329.0, "USD", "prices.csv", None, 2024, 180.0, line=8)
    assert session.bench == Bench(
        input="aux",
        load_ohm=8.0,
        channels="both",
        mains="118 V 60 Hz",
        coupling="dc",
        equipment=("two 8 ohm 100 W dummy loads", "a two-channel 24-bit capture interface"),
        level_uncertainty_db=0.1,
        distortion_floor_percent=0.0008,
    )
    assert session.ratings == (
        Rating(
            quantity="power",
            unit="W",
            at_least=40.0,
            load_ohm=8.0,
            thd_percent=0.05,
            band_hz=(20.0, 20000.0),
            channels="both",
            rule="continuous",
            source="owner's manual, page 12",
            order=1,
        ),
        Rating(
            quantity="snr",
            unit="dB",
            at_least=92.0,
            weighting="A",
            reference="50 mW",
            reference_w=0.05,
            input="phono",
            order=2,
        ),
    )
    assert session.episode == EpisodeSettings(
        "A Norrvale Forty",
        "the bench",
        140.0,
        Fraction(30000, 1001),
        "brochure",
        7.5,
        "front.jpg",
        page="https://example.org/forty",
    )


def test_measurements_take_from_the_bench_what_they_do_not_name(folder):
    tone, loudness, impedance = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert (tone.id, tone.card, tone.line) == ("tone", "", 42)  # which card it shares is seen when it is measured
    assert (tone.input, tone.load_ohm, tone.channels) == ("aux", 8.0, "both")
    assert (tone.frequency_hz, tone.input_level_v, tone.hold_s) == (1000.0, 0.15, 8.0)
    assert tone.columns == {"frequency": 1, "left": "Ch 1", "left into right": 3}
    assert tone.units == {"frequency": "kHz", "left": "dBV"}
    assert (loudness.id, loudness.card, loudness.against) == ("loudness-on", "loudness", "tone")
    assert (loudness.input, loudness.load_ohm, loudness.channels) == ("phono", 4.0, "one")
    assert (impedance.id, impedance.file) == ("source-impedance", "")


def test_drive_is_given_in_watts_and_volts(folder):
    """P = U²/R: 5 W into 8 Ω is the root of 40 V², 2 V into 4 Ω is 1 W."""
    tone, loudness, _ = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert (tone.drive_w, tone.drive_v) == (5.0, pytest.approx(6.324555, abs=1e-6))
    assert (loudness.drive_w, loudness.drive_v) == (1.0, 2.0)


def test_drive_without_a_load_stays_as_written(folder):
    text = UNIT + '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\ndrive = "{}"\n'
    power = parse_session(text.format("5 W"), folder, kinds=KINDS).measurements[0]
    volts = parse_session(text.format("150 mV"), folder, kinds=KINDS).measurements[0]
    assert (power.drive_w, power.drive_v) == (5.0, None)
    assert (volts.drive_w, volts.drive_v) == (None, 0.15)


def test_two_load_readings_carry_the_step_of_the_meter(folder):
    impedance = parse_session(WHOLE, folder, kinds=KINDS).measurements[2]
    assert impedance.loads_ohm == (math.inf, 8.0)
    assert impedance.volts == {"L": (12.71, 12.46), "R": (12.71, 12.4)}
    assert impedance.volts_step == {"L": 0.01, "R": 0.1}


def test_unit_alone_is_a_session(folder):
    session = parse_session("\ufeff" + UNIT.replace("\n", "\r\n"), folder, kinds=KINDS)
    assert (session.unit.name, session.price, session.ratings, session.measurements) == ("Norrvale Forty", None, (), ())
    assert session.episode == EpisodeSettings()


@pytest.mark.parametrize(
    ("written", "rate"),
    [
        ("30", Fraction(30)),
        ("25.0", Fraction(25)),
        ('"24"', Fraction(24)),
        # SMPTE rates, from memory: the colour rates are the nominal ones slowed by 1000/1001
        ("23.976", Fraction(24000, 1001)),
        ('"23.98"', Fraction(24000, 1001)),
        ("29.97", Fraction(30000, 1001)),
        ('"30000/1001"', Fraction(30000, 1001)),
        ("59.94", Fraction(60000, 1001)),
    ],
)
def test_frame_rates_are_exact(written, rate, folder):
    session = parse_session(f"{UNIT}[episode]\nframe_rate = {written}\n", folder, kinds=KINDS)
    assert session.episode.frame_rate == rate


@pytest.mark.parametrize(
    ("written", "limits"),
    [
        ('"0.5 dB"', (-0.5, 0.5)),
        ('"±0.5 dB"', (-0.5, 0.5)),
        ('["-1 dB", "+0 dB"]', (-1.0, 0.0)),
        ('["\u22123 dB", "0.5 dB"]', (-3.0, 0.5)),
    ],
)
def test_within_is_a_pair_of_limits(written, limits, folder):
    session = parse_session(f'{UNIT}[[rated]]\nquantity = "response"\nwithin = {written}\n', folder, kinds=KINDS)
    assert session.ratings[0].within == limits


@pytest.mark.parametrize("written", ["open", "8 ohm", "8 Ω", "8 \u2126", "0.008 kohm"])
def test_loads_in_every_spelling(written, folder):
    session = parse_session(f'{UNIT}[bench]\nload = "{written}"\n', folder, kinds=KINDS)
    assert session.bench.load_ohm == (math.inf if written == "open" else 8.0)


def test_a_voltage_is_a_reference_at_the_input(folder):
    text = UNIT + '[[rated]]\nquantity = "snr"\nat_least = "78 dB"\nreference = "5 mV"\n'
    (rating,) = parse_session(text, folder, kinds=KINDS).ratings
    assert (rating.reference, rating.reference_w, rating.reference_v) == ("5 mV", None, 0.005)


def test_rated_output_is_a_reference_without_a_figure(folder):
    text = UNIT + '[[rated]]\nquantity = "snr"\nat_least = "92 dB"\nreference = "Rated  output"\n'
    rating = parse_session(text, folder, kinds=KINDS).ratings[0]
    assert (rating.reference, rating.reference_w) == ("rated output", None)


def test_empty_look_and_empty_optional_texts_are_fine(folder):
    session = parse_session(f'{UNIT}[look]\n[episode]\ntitle = ""\nphoto = ""\n', folder, kinds=KINDS)
    assert session.episode == EpisodeSettings()


def test_a_bench_loop_beside_before_and_after_is_fine(folder):
    stages = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert [measurement.stage for measurement in stages] == ["before", "after", "bench"]


# ------------------------------------------------------------------ the file itself


def test_read_document_reads_the_file(folder):
    (folder / "session.toml").write_bytes(b"\xef\xbb\xbf" + WHOLE.encode())
    assert read_document(folder) == parse_toml(WHOLE, "session.toml")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b'[unit]\nmaker = "\xe9"\n', "session.toml:2: not UTF-8 text; save the file as UTF-8"),
        (b'[unit]\nmaker = "a"\nmodel = "\x00"\n', "session.toml:3: binary content; save the file as text in UTF-8"),
    ],
)
def test_bytes_that_are_no_text(data, message, folder):
    (folder / "session.toml").write_bytes(data)
    with pytest.raises(InputError) as raised:
        read_document(folder)
    assert str(raised.value) == message


def test_a_folder_without_session_and_no_folder_at_all(tmp_path):
    with pytest.raises(InputError, match=r"^session\.toml: there is none in .*; write one, at least with \[unit\]"):
        read_document(tmp_path)
    with pytest.raises(InputError, match=r"there is no such folder; name one that holds a session\.toml"):
        read_document(tmp_path / "nowhere")


# ------------------------------------------------------------------ which cards there are

CARDS = """
[cards]
hide = ["noise"]
order = ["phono", "response", "phono"]
only_page = ["square", "tone-rated"]
"""


def test_cards_to_hide_to_order_and_for_the_page_only(folder):
    cards = parse_session(UNIT + CARDS, folder, kinds=KINDS).cards
    assert (cards.hide, cards.order, cards.only_page) == (("noise",), ("phono", "response"), ("square", "tone-rated"))
    assert cards.lines == {"hide": 6, "order": 7, "only_page": 8}
    assert parse_session(UNIT, folder, kinds=KINDS).cards == CardChoices()


@pytest.mark.parametrize(
    ("written", "shapes"),
    [('["tall", "wide"]', ("tall", "wide")), ('["Square", "square"]', ("square",)), ('["wide"]', ("wide",))],
)
def test_shapes_of_the_cards(written, shapes, folder):
    assert parse_session(f"{UNIT}[episode]\nshapes = {written}\n", folder, kinds=KINDS).episode.shapes == shapes
    assert parse_session(UNIT, folder, kinds=KINDS).episode.shapes == ("wide",)


def test_a_short_name_a_mark_and_further_readings(folder):
    (folder / "mark.png").write_bytes(b"any")
    tone = '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\nreadings = ["THD", "hum"]\n'
    session = parse_session(f'{UNIT}short = "N40"\n[look]\nmark = "mark.png"\n{tone}', folder, kinds=KINDS)
    assert (session.unit.short_name, session.unit.name) == ("N40", "Norrvale Forty")
    assert session.look.mark == "mark.png"
    assert session.measurements[0].readings == ("THD", "hum")
    assert parse_session(UNIT, folder, kinds=KINDS).unit.short_name == "Norrvale Forty"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[cards]\nhide = "noise"\n',
            r'5: \[cards\] hide = "noise" is not a list; write for example \["noise", "crosstalk"\]',
        ),
        ("[cards]\nhidden = []\n", r'5: \[cards\] hidden: unknown key; did you mean "hide"'),
        (
            '[episode]\nshapes = ["round"]\n',
            r'5: \[episode\] shapes: "round" is not known; write "wide", "tall" or "square"',
        ),
        (
            "[episode]\nshapes = []\n",
            r'5: \[episode\] shapes = \[\] has too few values; write for example \["wide", "tall"\]',
        ),
        ('[look]\nmark = "none.png"\n', r"5: \[look\] mark"),
        ('[[card]]\nhide = ["noise"]\n', r'4: \[card\]: unknown table; did you mean "cards"'),
        (
            '[[measurement]]\nid = "score"\nkind = "tone"\nfile = "measurements/tone.csv"\n',
            'name of another card; write id = "my-score"',
        ),
    ],
)
def test_what_is_wrong_with_them_is_said(text, message, folder):
    with pytest.raises(InputError, match=message):
        parse_session(UNIT + text, folder, kinds=KINDS)

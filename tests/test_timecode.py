"""Frames and their labels, held against SMPTE ST 12-1's table and against a library that counts them too."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.model.timecode import (
    RATES,
    exact_rate,
    frame_of_clock,
    frames_a_day,
    nearest_frame,
    timecode_label,
)

NTSC, DOUBLE = Fraction(30000, 1001), Fraction(60000, 1001)
FILM = Fraction(24000, 1001)

# SMPTE ST 12-1: labels 00 and 01 (at 59.94: 00 to 03) are skipped each minute but every tenth. The pairs are worked out
# by hand from that rule, and are what two general-purpose libraries give.
DROP_FRAME = [
    (NTSC, 0, "00:00:00;00"),
    (NTSC, 1799, "00:00:59;29"),
    (NTSC, 1800, "00:01:00;02"),
    (NTSC, 1801, "00:01:00;03"),
    (NTSC, 3597, "00:01:59;29"),
    (NTSC, 3598, "00:02:00;02"),
    (NTSC, 5395, "00:02:59;29"),
    (NTSC, 5396, "00:03:00;02"),
    (NTSC, 17981, "00:09:59;29"),
    (NTSC, 17982, "00:10:00;00"),
    (NTSC, 19781, "00:10:59;29"),
    (NTSC, 19782, "00:11:00;02"),
    (NTSC, 35964, "00:20:00;00"),
    (NTSC, 53946, "00:30:00;00"),
    (NTSC, 107891, "00:59:59;29"),
    (NTSC, 107892, "01:00:00;00"),
    (NTSC, 2589407, "23:59:59;29"),
    (DOUBLE, 3599, "00:00:59;59"),
    (DOUBLE, 3600, "00:01:00;04"),
    (DOUBLE, 7195, "00:01:59;59"),
    (DOUBLE, 7196, "00:02:00;04"),
    (DOUBLE, 35964, "00:10:00;00"),
    (DOUBLE, 215784, "01:00:00;00"),
]


def test_the_drop_frame_table():
    for rate, frame, written in DROP_FRAME:
        assert timecode_label(frame, rate) == written, rate
        clock, _, frames = written.partition(";")
        hours, minutes, seconds = map(int, clock.split(":"))
        assert (
            frame_of_clock(hours * 3600 + minutes * 60 + seconds + Fraction(int(frames), round(rate)), rate) == frame
        ), rate


@pytest.mark.parametrize(
    ("rate", "count"), [(Fraction(25), 2_160_000), (NTSC, 2_589_408), (DOUBLE, 5_178_816), (FILM, 2_073_600)]
)
def test_a_day_has_its_number_of_labels_and_goes_round(rate, count):
    # SMPTE ST 12-1: 24 hours of 107 892 frames at 29.97; the others are 86 400 times what a second counts
    assert frames_a_day(rate) == count
    assert timecode_label(count, rate) == timecode_label(0, rate)


@pytest.mark.parametrize("rate", [NTSC, DOUBLE])
def test_no_label_of_a_day_is_given_twice(rate):
    # what lies round each minute's begin, where labels are skipped, and some of what lies between
    frames = set(range(0, frames_a_day(rate), 997))
    for minute in range(1440):
        begins = nearest_frame(Fraction(minute * 60 * 1001, 1000), rate)
        frames |= set(range(max(begins - 9, 0), min(begins + 9, frames_a_day(rate))))
    labels = {timecode_label(frame, rate) for frame in frames}
    assert len(labels) == len(frames)


@given(rate=st.sampled_from(RATES), frame=st.integers(0, 10_000_000))
def test_labels_are_those_of_a_library_that_counts_them_too(rate, frame):
    opentime = pytest.importorskip("opentimelineio").opentime
    frame %= frames_a_day(rate)
    drop = rate in (NTSC, DOUBLE)
    assert timecode_label(frame, rate) == opentime.RationalTime(frame, float(rate)).to_timecode(float(rate), drop)


@pytest.mark.parametrize(
    ("clock", "rate", "written"),
    [
        ("21:10:32", NTSC, "21:10:32;00"),
        ("21:10:32.5", NTSC, "21:10:32;15"),
        ("21:11:00", NTSC, "21:11:00;02"),  # ;00 and ;01 do not exist
        ("21:10:00", NTSC, "21:10:00;00"),
        ("21:11:00", DOUBLE, "21:11:00;04"),
        ("21:11:00", FILM, "21:11:00:00"),
        ("23:59:59.999", Fraction(25), "23:59:59:24"),
    ],
)
def test_a_time_of_day_is_the_frame_whose_label_reads_it(clock, rate, written):
    hours, minutes, seconds = clock.split(":")
    frame = frame_of_clock(int(hours) * 3600 + int(minutes) * 60 + Fraction(seconds), rate)
    assert timecode_label(frame, rate) == written


@pytest.mark.parametrize("rate", RATES)
def test_no_drift_in_two_hours(rate):
    # a frame lasts 1/rate: closed form
    worst = max(abs(Fraction(nearest_frame(Fraction(s), rate)) / rate - s) for s in range(0, 7201, 7))
    assert worst <= 1 / rate / 2


@pytest.mark.parametrize(
    ("written", "rate"),
    [
        (29.97, NTSC),
        (30000 / 1001, NTSC),
        (23.98, FILM),
        (23.976, FILM),
        (30.0, 30),
        (24.0, 24),
        (12.5, Fraction(25, 2)),
    ],
)
def test_rates_as_programs_write_them(written, rate):
    assert exact_rate(written) == rate

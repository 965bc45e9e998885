"""The order of a table and the size of its values, at the edge of each rule.

The rules are the program's own judgement (no source); what a message must say is written out by hand.
"""

from __future__ import annotations

import pytest

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.errors import InputError
from reviewkit.model.sheet import Sheet

HEADED = "Frequency (Hz),Level (dBV)\n"
PAIR = "Frequency (Hz),Left (V),Frequency (Hz),Right (V)\n"
AGAIN = "export one sweep per file"


def read(text: str) -> Sheet:
    return parse_sheet(text.encode(), "m.csv")


def messages(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(text)
    return [str(fault).removeprefix("m.csv:") for fault in caught.value.faults]


def table(values, head: str = HEADED) -> str:
    return head + "".join(f"{value},{index}\n" for index, value in enumerate(values))


# ------------------------------------------------------------------ values that can't be readings


@pytest.mark.parametrize(
    ("unit", "value"),
    [("dBV", "1000"), ("dBV", "-1000"), ("V", "1e30"), ("V", "1001"), ("V", "1e-60"), ("V", "-1e-60"), ("V", "0")],
)
def test_the_last_value_that_can_be_a_reading(unit, value):
    assert read(f"Frequency (Hz),Level ({unit})\n20,1\n30,{value}\n").columns[1].values[1] == float(value)


@pytest.mark.parametrize(
    ("unit", "value", "size"),
    [("dBV", "1000.5", "large"), ("dBV", "-1000.5", "large"), ("V", "1.5e30", "large"), ("V", "9e-61", "small"),
     ("V", "-9e-61", "small")],
)  # fmt: skip
def test_the_first_value_that_cannot(unit, value, size):
    remedy = {"large": '"--" where there is none', "small": "0 for nothing"}[size]
    assert messages(f"Frequency (Hz),Level ({unit})\n20,1\n30,{value}\n40,{value}\n") == [
        f"3: {float(value):.4g} in column 2 (Level ({unit})) is too {size} to be a reading; write {remedy}, "
        "or export the file again"
    ]


def test_an_impossible_value_may_be_the_first():
    (told,) = messages(HEADED + "20,1001\n30,1\n")
    assert told.startswith("2: 1001 in column 2")


def test_a_zero_before_a_value_too_small_is_not_blamed():
    (told,) = messages("Frequency (Hz),Level (V)\n20,0\n30,9e-61\n")
    assert told.startswith("3: 9e-61 in column 2")


def test_the_largest_possible_value_before_an_impossible_one_is_not_blamed():
    (told,) = messages(HEADED + "20,1000\n30,1000.5\n")
    assert told.startswith("3: ")


def test_of_each_column_the_first_impossible_value_is_reported_wherever_it_is():
    rows = "".join(f"{hertz},1,1\n" for hertz in range(1, 70_001))
    told = messages("Frequency (Hz),Left (V),Right (V)\n" + rows + "70001,1e31,1\n70002,1,1e-61\n")
    assert [text.split(" in column")[0] for text in told] == ["70002: 1e+31", "70003: 1e-61"]


def test_a_fault_before_an_impossible_value_is_the_only_one_reported():
    """It may be the reason for the value, and then for the order too."""
    told = messages(HEADED + "20,1\n30,high\n40,1\n35,1001\n50,1\n")
    assert len(told) == 1
    assert told[0].startswith('3: "high" in column 2')


# ------------------------------------------------------------------ one scale for two channels


def test_scales_that_differ_are_refused_where_they_first_do():
    assert messages(PAIR + "20,1,20,1\n30,1,30.5,1\n40,1,41,1\n") == [
        "3: columns 1 and 3 are both frequency and differ here: 30 Hz and 30.5 Hz; export the channels over the same "
        "scale or each to its own file, or name the one to read: columns = { frequency = 1 }"
    ]


def test_scales_that_differ_by_rounding_are_one():
    """A thousand millionth of the value is one digit in ten; what differs by more was printed so."""
    assert len(read(PAIR + "20,1,20.000000001,1\n30,1,30,1\n").columns) == 3
    assert messages(PAIR + "20,1,20.00000003,1\n30,1,30,1\n")[0].startswith("2: columns 1 and 3 are both frequency")
    assert messages(PAIR + "20,1,20.00002,1\n30,1,30,1\n")[0].startswith("2: columns 1 and 3 are both frequency")


# ------------------------------------------------------------------ a spectrum's row at 0 Hz


@pytest.mark.parametrize(
    "hertz",
    [
        (0, 1, 2, 3.25, 4, 5),  # rounded to a quarter of a step
        (0, 1, 2, 2.75, 4, 5),
        (0, 2, 4, 6.5, 8, 10),
        (0, 1, 2, 3, 5, 6),  # one step in five is double
        (0, 1, 2),
        (6, 5, 4, 3, 2, 1, 0),
        (0.0, 0.5, 1.0, 1.5),
    ],
)
def test_even_steps_are_a_spectrum(hertz):
    sheet = read(table(hertz))
    assert sheet.columns[0].values.tolist() == sorted(hertz)[1:]
    assert [row.why for row in sheet.skipped] == ["a spectrum's row at 0 Hz"]
    assert sheet.skipped[0].line == 2 + hertz.index(0)


@pytest.mark.parametrize(
    "hertz",
    [
        (0, 1, 2, 3.3, 4, 5),
        (0, 1, 2, 2.7, 4, 5),
        (0, 0.5, 1, 1.7, 2, 2.5),
        (0, 1, 2, 4, 5),  # one step in four is double
        (0, 1),
        (0, 0, 1, 2, 3, 4, 5),
    ],
)
def test_other_steps_are_a_sweep(hertz):
    assert messages(table(hertz))[0] == "2: 0 Hz in a sweep; delete the row, or begin the sweep above zero"


def test_a_spectrum_of_both_halves_is_told_of_its_negative_half_only():
    told = messages(table([-2, -1, 0, 1, 2]))
    assert [text.split(";")[0] for text in told] == [
        "2: \u22122 Hz is a negative frequency",
        "3: \u22121 Hz is a negative frequency",
    ]


@pytest.mark.parametrize("hertz", [(-0.5, 1, 2), (-0.5,)])
def test_half_a_hertz_below_zero_is_negative(hertz):
    (told,) = messages(table(hertz))
    assert told.startswith("2: \u22120.5 Hz is a negative frequency")


def test_a_file_of_a_zero_alone_is_refused_for_that():
    (told,) = messages(HEADED + "0,1\n")
    assert told.startswith("2: 0 Hz in a sweep")


def test_rows_that_all_lack_a_reading_are_refused_for_that():
    (told,) = messages("Frequency (Hz),Left (V),Right (V)\n20,--,1\n30,1,--\n")
    assert told.startswith("2: 2 of 2 rows hold no reading, more than a tenth")


# ------------------------------------------------------------------ rows in falling order, repeated, or out of order


def test_rows_out_of_order_are_named_by_the_lines_of_the_file():
    assert messages(table([20, 40, 30, 50])) == [f"4: frequency goes back from 40 Hz to 30 Hz; {AGAIN}"]
    # falling but for one step: that one is out of order, in the direction of the file
    assert messages(table([50, 30, 40, 20])) == [f"4: frequency goes back from 30 Hz to 40 Hz; {AGAIN}"]
    assert messages(table([40, 40, 30, 20])) == [
        f"3: 40 Hz is in lines 2 and 3 with different values; {AGAIN}, with all digits"
    ]


@pytest.mark.parametrize(
    ("higher", "lower", "shown"),
    [
        ("1236", "1234", "1.24 kHz to 1.23 kHz"),  # three digits
        ("1000.4", "1000.2", "1.0004 kHz to 1.0002 kHz"),
        ("30", "2.5e-8", "30 Hz to 2.5e-08 Hz"),
        ("1234.564", "1234.512", "1.23456 kHz to 1.23451 kHz"),  # six digits
        ("1234.5678941234", "1234.5678641234", "1.23456789 kHz to 1.23456786 kHz"),  # nine
        ("1234.56789127214", "1234.56789123214", "1.23456789127 kHz to 1.23456789123 kHz"),  # twelve
        ("1000.0000000000002", "1000", "1000.0000000000002 Hz to 1000.0 Hz"),  # all that a double has
        ("2e12", "1e12", "2e+09 kHz to 1e+09 kHz"),
        ("9e11", "8e11", "900000000 kHz to 800000000 kHz"),
    ],
)
def test_a_step_back_is_shown_with_as_many_digits_as_it_takes(higher, lower, shown):
    told = messages(table([20, higher, lower, "3e12", "4e12"]))
    assert told == [f"4: frequency goes back from {shown}; {AGAIN}"]


def test_six_digits_of_a_frequency_are_shown():
    (told,) = messages(table(["-12.34567", 1, 2]))
    assert told.startswith("2: \u221212.3457 Hz is a negative")
    (told,) = messages(table([20, "1234.5678", "1234.5678"]))
    assert told.startswith("4: 1.23457 kHz is in lines 3 and 4")


def test_one_step_back_among_steps_below_one_is_one_fault():
    (told,) = messages(table([0.1, 0.2, 0.3, 0.25, 0.4], "Time (s),V\n"))
    assert told == f"5: time goes back from 300 ms to 250 ms; {AGAIN}"


def test_a_step_back_by_a_millionth_of_a_hertz():
    told = messages(table(["1e-7", "2e-6", "1e-6", "3", "4"]))
    assert told == [f"4: frequency goes back from 0.000002 Hz to 0.000001 Hz; {AGAIN}"]


def test_a_repeat_in_a_falling_sweep_is_left_out():
    sheet = read(HEADED + "40,1\n30,2\n30,2\n20,3\n")
    assert sheet.columns[0].values.tolist() == [20, 30, 40]
    assert sheet.columns[1].values.tolist() == [3, 2, 1]
    assert [row.why for row in sheet.skipped] == ["the same as line 4"]


def test_after_a_repeat_the_lines_are_still_those_of_the_file():
    (told,) = messages("Frequency (Hz),THD (%)\n20,1\n20,1\n30,-1\n40,2\n")
    assert told.startswith("4: \u22121 in column 2 (THD (%)) cannot be a distortion")


@pytest.mark.parametrize("repeats", [999, 1000])
def test_a_thousand_rows_left_out_are_listed(repeats):
    sheet = read(HEADED + "20,1\n" * (repeats + 1) + "30,2\n")
    assert [row.why for row in sheet.skipped] == [f"the same as line {line}" for line in range(2, 2 + repeats)]


@pytest.mark.parametrize("falling", [False, True])
def test_of_very_many_faults_the_first_of_the_file_are_reported(falling):
    """Each frequency is there twice, with two values."""
    hertz = sorted([*range(20, 1520)] * 2, reverse=falling)
    told = messages(table(hertz, "Frequency (Hz),Level (V)\n"))
    assert len(told) == 1000
    assert told[0].startswith(f"3: {'1.519 kHz' if falling else '20 Hz'} is in lines 2 and 3 with different values")


@pytest.mark.parametrize(
    ("watts", "turned"),
    [((3, 2, 1), True), ((3, 2, 2), True), ((2, 2, 2), False), ((1, 2, 3), False), ((3, 2, 2.5), False), ((2,), False)],
)
def test_only_a_power_that_falls_throughout_is_turned(watts, turned):
    sheet = read("Power (W),THD (%)\n" + "".join(f"{value},0.1\n" for value in watts))
    assert sheet.columns[0].values.tolist() == (list(watts)[::-1] if turned else list(watts))
    assert any("reversed" in how for how in sheet.laid_out) == turned


@pytest.mark.parametrize(
    ("values", "shown"),
    [
        ((0.5, 0.9, 0.1), "900 ms to 100 ms"),
        ((0.5, 2, 1), "2 s to 1 s"),
        ((1e-4, 2e-3, 1e-3), "2 ms to 1 ms"),
        ((1e-6, 3e-5, 1e-5), "30 µs to 10 µs"),
        ((1e-7, 5e-7, 2e-7), "0.5 µs to 0.2 µs"),
        ((-1, 1, 0), "1 s to 0 s"),
    ],
)
def test_times_are_shown_in_the_unit_of_their_size(values, shown):
    assert messages(table([*values, 10, 11], "Time (s),V\n")) == [f"4: time goes back from {shown}; {AGAIN}"]

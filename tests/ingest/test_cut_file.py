"""final.txt: the finished cut's segments and their times."""

import pytest

from reviewkit.ingest.session.cut_file import parse_cut, read_final
from reviewkit.model.errors import InputError

GOOD = "# from the cut\n0:00 opening\n0:41.5 front:\n\n1:02:03 closing\n"


def test_times_and_segments(tmp_path):
    expected = ((0.0, "opening", 2), (41.5, "front", 3), (3723.0, "closing", 5))
    assert parse_cut(GOOD) == expected
    (tmp_path / "final.txt").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_final(tmp_path) == (expected, ())


def test_an_empty_cut_has_no_segments():
    assert parse_cut("# later\n") == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("opening 0:00", 'final.txt:1: "opening" is not a time; write M:SS or H:MM:SS, as in 6:12'),
        (
            "0:00",
            'final.txt:1: "0:00" names no segment by one lower-case word; '
            "write a time and a segment, for example 6:12 before",
        ),
        (
            "0:00 The opening",
            'final.txt:1: "0:00 The opening" names no segment by one lower-case word; '
            "write a time and a segment, for example 6:12 before",
        ),
        (
            "0:00 opening\n1:00 front\n1:00 rear",
            "final.txt:3: 1:00 is not later than 1:00 above it; list the segments in the order of the cut",
        ),
        ("0:00 opening\n0:70 front", 'final.txt:2: "0:70": seconds go up to 59; write M:SS or H:MM:SS, as in 6:12'),
    ],
)
def test_one_mistake_gives_one_message(text, message):
    with pytest.raises(InputError) as raised:
        parse_cut(text)
    assert str(raised.value) == message


def test_all_faults_are_told_at_once():
    with pytest.raises(InputError) as raised:
        parse_cut("x\n0:10 Front\n0:05 rear\n0:01 inside\n")
    assert [fault.line for fault in raised.value.faults] == [1, 2, 3, 4]

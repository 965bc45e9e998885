"""Calls made by another process: their results, what they raise, and what happens when that process is ended."""

from __future__ import annotations

import os
from functools import partial

import pytest

from reviewkit.errors import Fault, InputError
from reviewkit.ingest.any_file import read_any
from reviewkit.render.workers import Workers


@pytest.fixture(scope="module")
def two():
    with Workers(1) as workers:
        yield workers


def test_a_call_is_made_by_another_process(two):
    assert two.elsewhere(os.getpid)() == two._processes[0].pid != os.getpid()


def test_what_a_call_raises_arrives_with_every_fault(two, tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("Frequency (Hz),Level (dB)\n20,1\n30,x\n40,y\n", encoding="utf-8")
    read = partial(read_any, file, "a.csv")
    with pytest.raises(InputError) as here:
        read()
    with pytest.raises(InputError) as there:
        two.elsewhere(read)()
    assert there.value.faults == here.value.faults
    assert [type(fault) for fault in there.value.faults] == [Fault, Fault]


def test_alone_a_call_is_made_here():
    with Workers(0) as alone:
        assert alone.elsewhere(os.getpid)() == os.getpid()


def test_a_call_given_to_a_process_that_is_ended_is_made_here():
    with Workers(1) as workers:
        workers._processes[0].kill()
        workers._processes[0].wait()
        assert workers.elsewhere(os.getpid)() == os.getpid()
        assert workers.finish([workers.begin(os.getpid)]) == [os.getpid()]


def test_what_a_process_prints_does_not_come_between_its_answers(two):
    assert two.elsewhere(partial(print, "hello"))() is None
    assert two.elsewhere(partial(divmod, 7, 2))() == (3, 1)

"""Calls shared among processes: their results, what they raise, and what happens if one of the processes is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from multiprocessing import active_children

import pytest

from reviewkit.build.pool import LEAST_CALLS, Pool
from reviewkit.ingest.measurement_file import read_any
from reviewkit.model.errors import Fault, InputError

MANY = [(number, 3) for number in range(4 * LEAST_CALLS)]


@pytest.fixture(scope="module")
def two():
    with Pool(2) as pool:
        pool.load(())
        yield pool


def process_of(wait_s: float) -> int:
    time.sleep(wait_s)
    return os.getpid()


def test_results_come_in_the_order_of_the_calls(two):
    done = []
    assert two.begin(divmod, MANY).results(done.append) == [divmod(*call) for call in MANY]
    assert done == sorted(done)
    assert done[-1] == len(MANY)


def test_every_process_takes_part(two):
    processes = two.begin(process_of, [(0.05,)] * 20).results()
    assert len(set(processes)) == 2
    assert os.getpid() in processes


def test_what_a_call_raises_arrives_with_every_fault(two, tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("Frequency (Hz),Level (dB)\n20,1\n30,x\n40,y\n", encoding="utf-8")
    with pytest.raises(InputError) as here:
        read_any(file, "a.csv")
    with pytest.raises(InputError) as there:
        two.begin(read_any, [(file, "a.csv")] * 6).results()
    assert there.value.faults == here.value.faults
    assert [type(fault) for fault in there.value.faults] == [Fault, Fault]


def test_a_few_calls_start_no_other_process():
    with Pool(2) as pool:
        before = set(active_children())
        assert set(pool.begin(process_of, [(0,)] * (LEAST_CALLS - 1)).results()) == {os.getpid()}
        assert set(active_children()) == before


def test_calls_of_a_process_that_was_killed_are_made_here():
    with Pool(2) as pool:
        before = set(active_children())
        pool.load(())
        (worker,) = set(active_children()) - before
        worker.kill()
        worker.join()
        assert pool.begin(divmod, MANY).results() == [divmod(*call) for call in MANY]
        assert set(pool.begin(process_of, [(0,)] * LEAST_CALLS).results()) == {os.getpid()}


@pytest.mark.skipif(os.name == "nt", reason="a process cannot be asked for there without harm")
def test_other_processes_end_with_the_one_that_was_killed():
    program = (
        "import time; from multiprocessing import active_children; from reviewkit.build.pool import Pool\n"
        "if __name__ == '__main__':\n"
        "    pool = Pool(3); pool.load(())\n"
        "    pool.begin(divmod, [(7, 2)] * 20).results()\n"
        "    print(*(process.pid for process in active_children()), flush=True)\n"
        "    pool.begin(time.sleep, [(0.2,)] * 1000).results()\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as process:
        workers = [int(pid) for pid in process.stdout.readline().split()]
        process.send_signal(signal.SIGKILL)
    assert len(workers) == 2
    until = time.monotonic() + 10
    while any(_runs(pid) for pid in workers) and time.monotonic() < until:
        time.sleep(0.02)
    assert not [pid for pid in workers if _runs(pid)]


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True

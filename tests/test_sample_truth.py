"""Every figure of the sample session against the stated amplifier, worked out by other means: closed forms, quadrature,
scipy.signal.freqs and root finding (tests/truth/), none of it from reviewkit.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from collections import Counter
from pathlib import Path

import norrvale_figures
import pytest
from norrvale_figures import Truth

from reviewkit.model.finding import Finding


def fits(truth: Truth, finding: Finding) -> bool:
    """Whether a finding speaks of this figure: the same measurement, quantity, channel and conditions."""
    if (truth.measurement, truth.quantity) != (finding.measurement, finding.quantity):
        return False
    if truth.channel != ("" if finding.channel == "both" else finding.channel):
        return False
    for name, wanted in truth.at.items():
        at = finding.at
        if name == "highest":
            held = 1 + at["harmonics"] == wanted
        elif name == "band":
            held = tuple(at["band"]) == wanted
        elif name == "frequency":
            held = at.get("frequency") == pytest.approx(wanted, rel=1e-3)
        elif name == "power":
            held = at.get("power") == pytest.approx(wanted, rel=0.01)
        elif wanted is None or isinstance(wanted, str):
            held = at.get(name) == wanted
        else:
            held = at.get(name) == pytest.approx(wanted, rel=1e-9)
        if not held:
            return False
    return True


def counted(truth: Truth, findings: list[Finding]) -> bool:
    """Whether the tool counts as many harmonics as this figure: of three figures of THD one applies."""
    if "highest" not in truth.at:
        return True
    same = [f for f in findings if (f.measurement, f.quantity, f.channel) == (
        truth.measurement, truth.quantity, truth.channel)]  # fmt: skip
    return any(1 + f.at["harmonics"] == truth.at["highest"] for f in same)


def _check_every_figure(findings: list[Finding], truths: tuple[Truth, ...]) -> None:
    wrong = []
    checked: Counter[str] = Counter()
    for truth in truths:
        if not counted(truth, findings):
            continue
        found = [finding for finding in findings if fits(truth, finding)]
        place = f"{truth.measurement} {truth.quantity} {truth.channel} {dict(truth.at)}"
        if len(found) != 1:
            wrong.append(f"{place}: {len(found)} findings")
            continue
        checked[truth.measurement] += 1
        # a balance's truth is a size: how far apart, whichever way
        value = abs(found[0].value) if truth.quantity == "channel_balance_worst" else found[0].value
        if not abs(value - truth.value) <= truth.tolerance:
            wrong.append(f"{place}: {value} is not {truth.value} ± {truth.tolerance} {truth.unit}")
        if found[0].unit != truth.unit:
            wrong.append(f"{place}: in {found[0].unit}, not {truth.unit}")
    assert not wrong, "\n".join(wrong)
    # of the three counts of harmonics that a THD may have, two are not the tool's
    assert sum(checked.values()) == len(truths) - 2 * sum(f.quantity == "thd" for f in findings)
    assert set(checked) == {f.measurement for f in findings}


def _check_thd_of_each_tone(findings: list[Finding], truths: tuple[Truth, ...]) -> None:
    """One of the three counts of harmonics is the tool's, for each channel of each tone."""
    thd = [truth for truth in truths if truth.quantity == "thd"]
    assert len(thd) == 3 * 2 * 3
    assert sum(counted(truth, findings) for truth in thd) == 3 * 2


def _check_that_none_is_left_out(findings: list[Finding], truths: tuple[Truth, ...]) -> None:
    """Whatever the tool finds in the sample has a truth, but what follows from others, as told."""
    follows = {
        "harmonics_higher",  # the sum of harmonics 4 … 20, each of which to 9 is checked
    }
    known = {(truth.measurement, truth.quantity, truth.channel) for truth in truths}
    unchecked = {
        (f.measurement, f.quantity, f.channel)
        for f in findings
        if (f.measurement, f.quantity, "" if f.channel == "both" else f.channel) not in known
        and f.quantity not in follows
    }
    assert not unchecked


def _check_a_limit_that_is_never_met(findings: list[Finding], truths: tuple[Truth, ...]) -> None:
    """Before the repair the right channel is never below 0.05 %: no power there, in truth and in findings."""
    for figures in (findings, truths):
        limits = {
            figure.at["limit"]
            for figure in figures
            if figure.measurement == "power-8ohm-before" and figure.channel == "R" and "limit" in figure.at
        }
        assert limits == {1.0}


def _of_the_kinds_own_tests(checkout: Path) -> list[Truth]:
    """The figures of kinds that norrvale_figures.py leaves to their own tests, in `sample_figures`."""
    found = []
    for path in sorted((checkout / "tests" / "measure").glob("test_*.py")):
        if "\ndef sample_figures(" in path.read_text(encoding="utf-8"):
            spec = importlib.util.spec_from_file_location(path.stem, path)
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
            found += module.sample_figures()
    return found


def test_the_sample_session(episode, checkout):
    """Read and measured as any session is; one test, because the truth takes seconds to work out."""
    runs = list(episode.runs)
    findings = [finding for run in runs for finding in run.findings]
    truths = (*norrvale_figures.figures(), *_of_the_kinds_own_tests(checkout))
    _check_every_figure(findings, truths)
    _check_thd_of_each_tone(findings, truths)
    _check_that_none_is_left_out(findings, truths)
    _check_a_limit_that_is_never_met(findings, truths)


@pytest.mark.long
def test_the_files_are_what_the_model_makes(checkout):
    """Run as its own documentation says."""
    script = checkout / "sample_session" / "make_sample.py"
    ran = subprocess.run([sys.executable, str(script), "--check"], capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "as the model makes them" in ran.stdout

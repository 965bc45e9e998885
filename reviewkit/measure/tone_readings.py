"""A tone's distortion in the figures of its pictures: what it was, what it is, and the change in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures
from reviewkit.measure.likeness import is_like
from reviewkit.model import digits, quantities
from reviewkit.model.card import Readout
from reviewkit.model.finding import Finding, Run

_AS_BEFORE, _A_LITTLE = (
    0.1,
    1.5,
)  # how far a ratio may differ from one, and the ratio from which it is written as "times"


def main_and_before(runs: Sequence[Run]) -> tuple[Run, Run | None]:
    """Return the run whose figures are large, and the one before the repair that it is compared with."""
    main = figures.main_run(runs)
    before = [run for run in runs if figures.trace_role(run, runs) == "before" and run.get(leading_figure(main))]
    return main, before[-1] if before and main is not before[-1] else None


def leading_figure(run: Run) -> str:
    """Return the quantity that states a tone's distortion: THD+N, or THD if noise can't be read."""
    return "thd_plus_noise" if run.get("thd_plus_noise") else "thd"


def readings(runs: Sequence[Run], main: Run, before: Run | None) -> tuple[Readout, ...]:
    """Return the worse channel's figure large, what it was before, and each channel's under it."""
    quantity = leading_figure(main)
    name = quantities.QUANTITIES[quantity].name
    here = figures.by_channel(main, quantity)
    was = figures.by_channel(before, quantity) if before else []
    key, once = quantities.worse(here), quantities.worse(was)
    if key is None:
        return ()
    shown = [Readout(name, quantities.show(key), figures.rows_of(here), figures.whose(key, here))]
    if before is not None and once is not None and _alike(before, main):
        rows = tuple((f.channel, _from_to(before.get(quantity, f.channel), f)) for f in here if f.channel)
        whose = figures.whose(key, here) if key.channel == once.channel else ""
        shown = [Readout(f"{name}, before → after", _from_to(once, key), rows, whose)]
    compared = before if before is not None and _alike(before, main) else None
    others = [run for run in runs if run not in (main, compared) and run.conditions.measurement.stage != "bench"]
    for run in others:
        if rest := figures.by_channel(run, quantity):
            own = figures.rows_of(rest) or ((quantities.show(rest[0]),),)
            shown.append(Readout(f"{name} {figures.run_label(run, runs)}", "", own))
    return tuple(shown)


def _from_to(was: Finding | None, now: Finding) -> str:
    return f"{quantities.number(was)} → {quantities.show(now)}" if was else quantities.show(now)


def _alike(before: Run, main: Run) -> bool:
    """Return whether every channel's figure was measured alike before and after; else nothing is called a change."""
    quantity, clips_w = leading_figure(main), figures.rated_output_w(main.conditions)
    now = figures.by_channel(main, quantity)
    pairs = [(was, f) for f in now if (was := before.get(quantity, f.channel)) is not None]
    return bool(pairs) and all(is_like(was, f, clips_w) for was, f in pairs)


def change_in_words(main: Run, before: Run | None) -> tuple[Readout, ...]:
    """Return the change of each channel in words."""
    if before is None or not _alike(before, main):
        return ()
    quantity = leading_figure(main)
    pairs = [(before.get(quantity, f.channel), f) for f in figures.by_channel(main, quantity)]
    rows = [(now.channel, _change(was, now)) for was, now in pairs if was is not None]
    if len(rows) == 1 and not rows[0][0]:
        return (Readout(rows[0][1]),)
    return (Readout("the change", "", tuple(rows)),) if rows else ()


def _change(was: Finding, now: Finding) -> str:
    """Return a figure compared with what it was: "as before", "about 50 × less"."""
    unsure = float(np.hypot(was.uncertainty or 0.0, now.uncertainty or 0.0))
    times = max(was.value, now.value) / max(min(was.value, now.value), 1e-12)
    if abs(was.value - now.value) <= unsure or times < 1 + _AS_BEFORE:
        return "as before"
    way = "less" if now.value < was.value else "more"
    if was.bound or now.bound:
        return way
    if times < _A_LITTLE:
        return f"a little {way}"
    # as precise as the uncertainties allow, in steps that also result from dividing the two figures as shown
    relative = np.hypot((was.uncertainty or 0.0) / was.value, (now.uncertainty or 0.0) / now.value)
    step = 5 * 10.0 ** (np.floor(np.log10(times)) - 1)
    text = digits.significant(float(round(times / step) * step), 2, float(times * relative) or None)
    return f"about {text.rstrip('0').rstrip('.') if '.' in text else text} × {way}"

"""Data files: findings.json and the comma-separated table."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from typing import Any

from reviewkit import __version__
from reviewkit.model import quantities
from reviewkit.model.episode import Episode
from reviewkit.model.finding import Finding
from reviewkit.model.published import Published
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Rating
from reviewkit.model.sound import PlayedSound
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.repair_points import point_verdict
from reviewkit.verdict.spec_table import SpecTable, TableRow

_RUNS_IN_A_SPREADSHEET = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def defuse_formula(cell: str) -> str:
    """Prefix a cell that a spreadsheet would execute with an apostrophe, which it displays as text."""
    return f"'{cell}" if cell.lstrip(" ").startswith(_RUNS_IN_A_SPREADSHEET) else cell


def format_spec_csv(table: SpecTable) -> str:
    """Format rated against measured as CSV (RFC 4180), one row for each rating."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["what", "rated", "measured", "verdict", "margin", "note"])
    for row in table.rows:
        writer.writerow(
            [defuse_formula(c) for c in (row.label, row.rated, row.measured, row.verdict, row.margin, row.note)]
        )
    return out.getvalue()


def format_spec_text(rows: Sequence[TableRow]) -> str:
    """Format rows of the table as text to paste: cells with tabs between them, as spreadsheets take them."""
    cells = [("what", "measured", "rated", "verdict", "by")]
    cells += [(row.label, row.measured, row.limit, row.verdict, row.margin or row.brief) for row in rows]
    return "\n".join("\t".join(map(defuse_formula, line)).rstrip("\t") for line in cells)


def format_findings_json(episode: Episode) -> str:
    """Format every computed number as JSON, unrounded, with its source."""
    unit = episode.session.unit
    data: dict[str, Any] = {
        "reviewkit": __version__,
        "unit": _present({"maker": unit.maker, "model": unit.model, "what": unit.what, "year": unit.year}),
        "findings": [_finding(f) for f in episode.findings],
        "verdicts": [_verdict(v) for v in episode.verdicts],
        "ratings": [_rating(r) for r in episode.session.ratings],
        **({"printed": [vars(figure) for figure in episode.session.printed]} if episode.session.printed else {}),
        "repair": [_repair(r) for r in episode.repair],
        "changes": [
            {
                "quantity": c.after.quantity,
                "channel": c.after.channel,
                "unit": c.after.unit,
                "before": c.before.value,
                "after": c.after.value,
                "measurements": [c.before.measurement, c.after.measurement],
            }
            for c in episode.changes
        ],
    }
    if episode.price is not None:
        p = episode.price
        data["price"] = {
            "paid": p.paid,
            "currency": p.currency,
            "from": str(p.from_year),
            "to": str(p.to_year),
            "factor": p.factor,
            "now": p.now,
            "line": p.line,
        }
    if episode.sounds:
        data["sounds"] = [_sound(each) for each in episode.sounds]
    if episode.left_out:
        data["left_out"] = list(episode.left_out)
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def format_published_json(remembered: Published) -> str:
    """Format the published figures as JSON, for later builds to compare theirs with."""
    data = {"said": dict(remembered.figures), "corrected": dict(remembered.corrected)}
    return json.dumps(data, ensure_ascii=False, indent=1) + "\n"


def _present(entries: dict[str, Any]) -> dict[str, Any]:
    """Drop the entries without a value: what isn't known is absent, never null or empty."""
    return {key: value for key, value in entries.items() if value not in (None, "", ())}


def _finding(f: Finding) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "quantity": f.quantity,
        "channel": f.channel,
        "value": f.value,
        "unit": f.unit,
        # JSON has no infinity: no load is a word, as in session.toml
        "at": {key: "open" if entry == math.inf else entry for key, entry in f.at.items()},
    }
    if f.uncertainty is not None:
        entry["uncertainty"] = f.uncertainty
    if f.bound:
        entry["bound"] = f.bound
    if f.floor is not None:
        entry["floor"] = f.floor
    return entry | {"measurement": f.measurement, "kind": f.kind, "stage": f.stage, "source": f.source}


def _sound(each: PlayedSound) -> dict[str, Any]:
    entry: dict[str, Any] = {"id": each.sound.id, "of": each.sound.of, "target": each.sound.target_lufs}
    for side, recording in zip(each.sides, each.sound.recordings, strict=True):
        entry[side.name] = {
            "source": recording.file,
            "gain_db": side.gain_db,
            **_present({"loudness_lufs": side.loudness_lufs, "peak_dbtp": side.peak_dbtp}),
        }
    return _present(entry | {"matched_by": each.matched_by, "tone_hz": each.tone_hz})


def _verdict(v: Verdict) -> dict[str, Any]:
    # the figure alone; where it was read, if the rating is of a band, has a key of its own
    of_power = bool(v.findings) and v.findings[0].unit == "W"
    figure, _, place = v.measured.partition(" at ") if of_power else (v.measured, "", "")
    return {
        "quantity": v.rating.quantity,
        "rated": v.rated,
        "measured": figure,
        **({"measured_at": place} if place else {}),
        "verdict": v.verdict,
        "margin": v.margin,
        "why": v.why,
        "measurements": list(v.measurements),
    } | _present({"remark": v.remark, "assumed": v.assumed})


def _rating(r: Rating) -> dict[str, Any]:
    return _present(
        {
            "quantity": r.quantity,
            "called": r.called,
            "unit": r.unit,
            "at_least": r.at_least,
            "at_most": r.at_most,
            "within": list(r.within) if r.within else None,
            "nominal": r.nominal,
            "tolerance": list(r.tolerance) if r.tolerance else None,
            "typical": r.typical or None,
            "load": r.load_ohm,
            "channels": r.channels,
            "band": list(r.band_hz) if r.band_hz else None,
            "frequency": r.frequency_hz,
            "thd": r.thd_percent,
            "thd_plus_noise": r.thd_plus_noise_percent,
            "power": r.power_w,
            "level": quantities.level_text(r.level) if r.level else "",
            "termination": r.termination,
            "volume": r.volume,
            "conditions": dict(r.conditions) or None,
            "input": r.input,
            "weighting": r.weighting,
            "reference": r.reference,
            "rule": r.rule,
            "total": r.total or None,
            "source": r.source,
        }
    )


def _repair(r: RepairRow) -> dict[str, Any]:
    return _present(
        {
            "point": r.point,
            "expected": r.expected,
            "found": r.found if r.found is not None else r.found_text or None,
            "unit": r.unit,
            "tolerance": r.tolerance,
            "action": r.action,
            "note": r.note,
            "verdict": point_verdict(r),
        }
    )

"""One HTML page, complete in itself and printable: verdicts first, then pictures, settings, versions and seeds."""

from __future__ import annotations

import io
import time
from html import escape
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from simulator.rehearsal.campaign import Outcome, Plan, summary
from simulator.rehearsal.judge import fault_to_off_s, first_out, verdict
from simulator.rehearsal.runner import Record
from simulator.rehearsal.stock import Fate, Line
from simulator.rehearsal.study import GOOD, READ_AS, Study, faults_in_words, picture, worst_first
from simulator.rehearsal.world import Physical

STYLE = """
:root{--ink:#1b2a33;--pale:#eef2f4;--line:#c9d4d9;--good:#2e7d4f;--bad:#b3261e;--warn:#c77d0a;--lake:#0b6e8a}
*{box-sizing:border-box}
body{font:14px/1.45 system-ui,sans-serif;color:var(--ink);max-width:68rem;margin:0 auto;padding:2rem 1.2rem}
header{border-bottom:3px solid var(--lake);padding-bottom:.6rem;margin-bottom:1.2rem}
h1{font-size:1.5rem;margin:0} h2{font-size:1.1rem;margin:2rem 0 .5rem}
.big{display:flex;flex-wrap:wrap;gap:.6rem;margin:1rem 0}
.big div{background:var(--pale);border-left:4px solid var(--lake);padding:.4rem .9rem;min-width:7rem}
.big b{display:block;font-size:1.4rem}
.bad{border-color:var(--bad)!important;color:var(--bad)} .good{border-color:var(--good)!important}
table{border-collapse:collapse;width:100%;font-size:12.5px} td,th{padding:.25rem .5rem;border-bottom:1px solid
var(--line);text-align:left;vertical-align:top}
th{background:var(--pale)} tr.bad td{color:var(--bad)} tr.warn td:nth-child(2){color:var(--warn)}
tr.good td:nth-child(2){color:var(--good)}
figure{margin:1rem 0;break-inside:avoid} svg{max-width:100%;height:auto}
footer{margin-top:2rem;border-top:1px solid var(--line);padding-top:.5rem;font-size:12px;color:#52656f}
@media print{body{max-width:none;padding:0} h2{break-after:avoid} tr{break-inside:avoid}}
"""


def page(title: str, lead: str, body: str, settings: dict[str, str]) -> str:
    """The whole page around a body."""
    try:
        program = version("lyewatch")
    except PackageNotFoundError:
        program = "unknown"
    settings = {"program": f"lyewatch {program}", "made": time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime())} | settings
    rows = "".join(f"<tr><th>{escape(k)}</th><td>{escape(v)}</td></tr>" for k, v in settings.items())
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{escape(title)}</title><style>{STYLE}</style><body><header><h1>{escape(title)}</h1>"
        f"<p>{escape(lead)}</p></header>{body}<h2>Settings</h2><table>{rows}</table>"
        "<footer>Simulated: a rehearsal is not a proof test, and a plant made of formulas is not your rig.</footer>"
        "</body></html>\n"
    )


def table(head: list[str], rows: list[tuple[str, list[str]]]) -> str:
    """rows: a class and the cells of each."""
    top = "".join(f"<th>{escape(h)}</th>" for h in head)
    lines = "".join(
        f'<tr class="{cls}">' + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>" for cls, cells in rows
    )
    return f"<table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table>"


def numbers(counted: dict[str, int], bad: frozenset[str]) -> str:
    boxes = "".join(
        f'<div class="{"bad" if name in bad else "good"}"><b>{count}</b>{escape(name)}</div>'
        for name, count in counted.items()
        if count
    )
    return f'<div class="big">{boxes}</div>'


def drawn(figure: Any) -> str:
    """A matplotlib figure as a picture within the page."""
    out = io.StringIO()
    figure.savefig(out, format="svg")
    text = out.getvalue()
    return f"<figure>{text[text.index('<svg') :]}</figure>"


def _seconds(value: float | None) -> str:
    """To three figures or so, unbroken at the end of a line."""
    return "" if value is None else f"{value:.{2 if value < 10.0 else 1 if value < 100.0 else 0}f}\u00a0s"


def of_rehearsals(records: list[tuple[Record, list[str]]]) -> str:
    """A set of rehearsals, each with its timeline."""
    try:
        from simulator.rehearsal.plot import picture
    except ImportError:
        picture = None  # type: ignore[assignment]
    failed = sum(bool(f) for _, f in records)
    rows = [
        ("bad" if f else "", ["failed" if f else "passed", r.scenario.title, first_out(r) or "",
        _seconds(fault_to_off_s(r)),
                              "; ".join(f)])
        for r, f in records
    ]  # fmt: skip
    body = numbers({"as they should": len(records) - failed, "not": failed}, frozenset({"not"}))
    body += "<h2>Verdicts</h2>" + table(["verdict", "rehearsal", "first cause", "fault to off", "what was wrong"], rows)
    if picture is not None:
        body += "<h2>Timelines</h2>"
        for record, failures in records:
            body += f"<p>{escape(verdict(record, failures))}</p>" + drawn(picture(record))
    rigs = {r.physical.rig.core.name: r.physical.rig.core.rig_hash for r, _ in records}
    settings = {"rigs": ", ".join(f"{n} ({h})" for n, h in rigs.items()),
    "level": records[0][0].level.value if records else "",
                "seeds": ", ".join(sorted({str(r.scenario.seed) for r, _ in records}))}  # fmt: skip
    return page("Rehearsals", f"{len(records)} rehearsals", body, settings)


def of_stock(lines: list[Line], physical: Physical) -> str:
    """Every stock fault on one rig."""
    rig = physical.rig
    bad = frozenset({Fate.NOT_CAUGHT.value, Fate.LATE.value, Fate.NEEDLESS.value})
    counted = {fate.value: sum(line.fate is fate for line in lines) for fate in Fate}
    rows = [
        ("bad" if line.fate.value in bad else "warn" if line.fate is Fate.HARD_WIRED else "",
         [line.title, line.fate.value, line.by, _seconds(line.off_s), line.harm, line.remedy or line.note])
        for line in lines
    ]  # fmt: skip
    body = numbers(counted, bad) + table(["what goes wrong", "outcome", "by", "after", "harm", "what would help"], rows)
    settings = {
        "rig": f"{rig.core.name} ({rig.core.rig_hash})",
        "plant": physical.parameters.title,
        "bench": physical.wiring.title,
    }
    if physical.note:
        settings["note"] = physical.note
    return page(f"Every fault on {rig.file.title}", "What the rig would do, before anything is wired", body, settings)


def of_study(made: Study, physical: Physical) -> str:
    """The set-point study."""
    rig = physical.rig
    rows = [
        ("bad" if row.verdict.isupper() else "good" if row.verdict == GOOD else "",
         [row.limit, row.verdict, f"{faults_in_words(row.fault)}: {row.harm}", _seconds(row.harm_s),
          _seconds(row.limit_s), _seconds(row.response_s), "" if row.ratio is None else f"{row.ratio:.1f}\u00a0x",
          row.proposal])
        for row in worst_first(made.rows)
    ]  # fmt: skip
    head = ["limit", "verdict", "fault and harm", "harm after", "limit after", "response", "fits", "proposal"]
    counted = {v: sum(r.verdict == v for r in made.rows) for v in dict.fromkeys(r.verdict for r in made.rows)}
    body = numbers(counted, frozenset(v for v in counted if v.isupper()))
    body += f"<p>{escape(READ_AS)}</p>" + table(head, rows)
    try:
        body += "<h2>The same, drawn</h2>" + drawn(picture(made))
    except ImportError:
        body += "<p>Pictures need matplotlib.</p>"
    if made.tight:
        tight = [
            ("warn", [t.limit, t.verdict, f"{t.normal:g}", f"{t.threshold:g}", f"{t.error:g}", f"{t.share:.0%}"])
            for t in made.tight
        ]
        body += "<h2>Near normal running</h2>" + table(
            ["limit", "verdict", "normal", "limit at", "error", "of the way"], tight
        )
    settings = {"rig": f"{rig.core.name} ({rig.core.rig_hash})", "plant": physical.parameters.title}
    return page(
        f"Set-points of {rig.file.title}", "Two responses should fit between each limit and its harm", body, settings
    )


def of_campaign(plan: Plan, outcomes: list[Outcome], physical: Physical) -> str:
    made = summary(outcomes)
    body = numbers(made.counts, frozenset({"missed", "late", "needless"}))
    rows = [
        ("bad", [str(o.number), o.fate, o.fault, o.on, o.first_out, _seconds(o.off_s), o.harm, _seconds(o.harm_s)])
        for o in (*made.missed, *made.late, *made.needless)
    ]
    head = ["number", "outcome", "fault", "on", "first cause", "off after", "harm", "harm after"]
    body += "<h2>Missed, late, needless</h2>" + (table(head, rows) if rows else "<p>None.</p>")
    margins = [
        ("warn" if m < 0.2 else "", [h, f"{m:.0%}", str(n)])
        for h, (m, n) in sorted(made.smallest_margin.items(), key=lambda x: x[1])
    ]
    body += "<h2>Smallest margin for each harm</h2>" + table(["harm", "left of the way", "in number"], margins)
    settings = {"rig": f"{plan.rig} ({physical.rig.core.rig_hash})", "runs": str(len(outcomes)), "seed": str(plan.seed),
                "drawn by": plan.kind, "level": "drivers" if plan.drivers else "signals"}  # fmt: skip
    return page(
        f"Campaign on {physical.rig.file.title}", f"{len(outcomes)} rehearsals drawn from distributions", body, settings
    )

"""The HTML: style and script inside, so that two round trips show a value, and that value in it as text.

Whatever a rig says is text: it is escaped here, and the policy forbids every script that is not ours.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import time
from pathlib import Path
from typing import Any, Final, NamedTuple

DIST: Final = Path(__file__).resolve().parent.parent / "dashboard" / "dist"
FRESH_S: Final = 3.0
TEXTS: Final = {
    "title": "Lyewatch",
    "simulated": "Simulated: no real rig is behind this page",
    "as_of": "{age:.0f} s old when this page was sent",
    "retained": "Last known; how old it is will show in a moment",
    "was": "Last known, {age:.0f} s before this page was sent: it said",
    "none": "Nothing is known of this rig yet.",
    "nearest": "{title}: {value} {unit}, {left} {unit} left",
    "connecting": "Connecting …",
    "no_script": "Without scripts this page does not stay live. Reload it to look again.",
}


class NotBuilt(FileNotFoundError):
    """The dashboard is not in this installation."""


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


class Built(NamedTuple):
    """The dashboard as built: read once at start."""

    build: str  # changes when any of its files does
    template: str
    style: str
    script: str
    early: str
    files: dict[str, bytes]
    policy: str


def read_built(dist: Path = DIST) -> Built:
    """Raises NotBuilt with what to do."""
    try:
        there = sorted(p for p in dist.iterdir() if p.is_file() and not p.name.startswith("."))
        files = {p.name: p.read_bytes() for p in there}
        template, style, script, early = (files[n].decode() for n in ("index.html", "app.css", "app.js", "early.js"))
    except (FileNotFoundError, NotADirectoryError, KeyError) as error:
        raise NotBuilt(
            f"the phone page is not built here ({error}). Install it without LYEWATCH_NO_DASHBOARD,"
            " or run 'npm ci && npm run build' in controller/dashboard"
        ) from None
    digest = hashlib.sha256(b"".join(n.encode() + b"\0" + data for n, data in files.items())).hexdigest()[:12]
    style, script, early = (
        s.strip().replace("</script", "<\\/script").replace("BUILD_ID", digest) for s in (style, script, early)
    )
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' {_hash(script)} {_hash(early)}",
            f"style-src {_hash(style)}",
            "connect-src 'self'",
            "img-src 'self'",
            "manifest-src 'self'",
            "worker-src 'self'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )
    return Built(digest, template, style, script, early, files, policy)


def _number(value: float) -> str:
    return f"{value:.3g}" if abs(value) < 10 else f"{value:.1f}"


def _first_text(view: dict[str, Any], now_s: float) -> str:
    """What can be read before any script has run."""
    state, arrived_s = view["state"], view["arrived"]
    if state is None:
        return f'<p class="sentence">{TEXTS["none"]}</p>'
    age_s = None if arrived_s is None else now_s - arrived_s
    live = age_s is not None and age_s < FRESH_S and view["broker"]["up"]
    when = TEXTS["retained"] if age_s is None else TEXTS["as_of" if live else "was"].format(age=age_s)
    parts = [f'<p class="sim">{TEXTS["simulated"]}</p>'] if state["simulated"] else []
    said = html.escape(state["sentence"])
    parts += [
        f'<header class="top"><b>{html.escape(view["rig"])}</b></header>',
        f'<p class="fresh">{when}</p>',
        f'<p class="sentence">{said}</p>' if live else f'<blockquote class="sentence past">{said}</blockquote>',
    ]
    near = next((m for m in state["margins"] if m["limit"] == state["nearest"]), None)
    if live and near is not None and near["value"] is not None and near["left"] is not None:
        unit = {"C": "°C"}.get(near["unit"], near["unit"])
        line = TEXTS["nearest"].format(
            title=near["title"], value=_number(near["value"]), left=_number(near["left"]), unit=unit
        )
        parts.append(f'<p class="first-value">{html.escape(line)}</p>')
    return "".join(parts)


def page(built: Built, view: dict[str, Any] | None, me: dict[str, Any] | None) -> str:
    """The whole document. Without a view it is the shell that is kept on the phone: it holds no value at all."""
    now_s = time.monotonic()
    first = None if view is None else {"t": now_s, "all": view | {"me": me}}
    data = json.dumps(first, separators=(",", ":"), ensure_ascii=False).replace("<", "\\u003c")
    if view is None or not view["rig"]:
        text = f'<p class="sentence">{TEXTS["connecting"]}</p>'
    else:
        text = _first_text(view, now_s)
    fill = {
        "TITLE": TEXTS["title"],
        "EARLY": built.early,
        "STYLE": built.style,
        "FIRST_TEXT": text + f"<noscript>{TEXTS['no_script']}</noscript>",
        "FIRST_DATA": data,
        "SCRIPT": built.script,
    }
    out, rest = [], built.template
    for key, value in fill.items():  # one pass, in the order of the template: what is filled in is never searched
        before, found, rest = rest.partition(f"%{key}%")
        if not found:
            raise NotBuilt(f"index.html has no %{key}% where it is expected; build the dashboard again")
        out += [before, value]
    return "".join(out) + rest

"""The policy of pages: they show what they carry and run the shipped scripts, whoever wrote their template."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from selectolax.lexbor import LexborNode

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_CLOSED = "default-src 'none'; font-src data:; img-src data:; media-src data:; style-src 'unsafe-inline'"
_DATA_BLOCK = {"type": "application/ld+json"}  # the attributes of a <script> that never runs
_NO_WAY_OUT = "; base-uri 'none'; form-action 'none'"
# what loads, sends or navigates by itself, except scripts; the last two are parsed in more than one way
_TAGS = {"applet", "base", "embed", "form", "frame", "frameset", "iframe", "object", "portal", "noscript", "template"}
# older browsers skip any other tag in a list of choices, newer ones do not
_NO_CHOICE = "select :not(option, optgroup, hr)"
_LINKS = {"href", "xlink:href"}
_ADDRESSES = _LINKS | set("action background data formaction imagesrcset ping poster src srcset".split())
_CARRIED = {"img": "data:", "link": "data:", "audio": "data:audio/"}  # what a page may bring along, by tag
_ONE_PICTURE = re.compile(r"data:image/[^\s,]+,\S*[^\s,]")  # `srcset` is a list, parted by spaces and commas
_RUN = re.compile(r"(javascript|vbscript|data):", re.IGNORECASE)
_SEEN_BY_NOBODY = re.compile(r"[\x00-\x20]")  # browsers remove these from the scheme of an address
_HARMLESS_META = {"", "content-security-policy", "content-type"}


@cache
def script_sources(shipped: Path) -> str:
    """Return the scripts of the shipped templates as sources of a content security policy."""
    texts = (script for page in sorted(shipped.glob("*.html")) for script in _SCRIPT.findall(page.read_text("utf-8")))
    return " ".join(dict.fromkeys(f"'sha256-{_digest(text)}'" for text in texts))


def static_policy(shipped: Path) -> str:
    """Return the policy of a self-contained page."""
    return f"{_CLOSED}; script-src {script_sources(shipped)}"


def page_policy(structured: str) -> str:
    """Return the policy of the published page, which runs nothing: `structured`, its data for search engines, is all
    that its <script> may hold.
    """
    return f"{_CLOSED}; script-src 'sha256-{_digest(structured)}'"


def guard(html: str, shipped: Path) -> str:
    """Return a page with a policy that limits what it can do, whatever it contains.

    A browser enforces a policy from the point where it appears, so it comes first.
    """
    policy = f'<meta http-equiv="Content-Security-Policy" content="{static_policy(shipped)}{_NO_WAY_OUT}">'
    return f'<!DOCTYPE html>\n<meta charset="utf-8">\n{policy}\n{html}'


def find_forbidden(html: str, shipped: Path) -> str:
    """Find the first thing in a page that runs, loads or navigates by itself.

    A policy stops what runs and loads, but not what navigates. The parser follows the HTML standard, as browsers do.

    Parameters
    ----------
    html : str
        The page.
    shipped : Path
        Folder of the shipped templates, whose scripts are allowed.

    Returns
    -------
    str
        The thing, ready to print; "" if there is none.
    """
    from selectolax.lexbor import LexborHTMLParser

    page, known = LexborHTMLParser(html), script_sources(shipped)
    for node in page.root.traverse() if page.root else ():
        if flaw := _flaw(node, known):
            return flaw
    choice = page.css_first(_NO_CHOICE)
    return f"<{choice.tag}> in a <select>" if choice else ""


def _flaw(node: LexborNode, known: str) -> str:
    tag = (node.tag or "").lower()
    given = {name.lower(): value or "" for name, value in node.attributes.items()}
    if tag == "script" and given == _DATA_BLOCK:
        return ""
    if tag in _TAGS or (tag == "script" and given.keys() & {"src", "type", *_LINKS}):
        return f"<{tag}>"
    if tag == "script" and f"'sha256-{_digest(node.text())}'" not in known:
        return "<script> of its own"
    if tag == "meta" and given.get("http-equiv", "").lower() not in _HARMLESS_META:
        return f"<meta> with http-equiv={given['http-equiv'][:40]}"
    for name, value in given.items():
        address = _SEEN_BY_NOBODY.sub("", value)
        is_data = address.lower().startswith(_CARRIED.get(tag, "\0"))
        if tag == "source" and name == "srcset":
            is_data = _ONE_PICTURE.fullmatch(value.strip()) is not None
        loads = name not in _LINKS or tag in ("link", "image", "use")
        if name.startswith("on") or name == "autoplay":
            return f"<{tag}> with {name}"
        if name not in _ADDRESSES or is_data:
            continue
        if _RUN.match(address):
            return f"<{tag}> whose {name} holds something to run"
        if loads and address and not address.startswith("#"):
            return f"<{tag}> that loads something from another place"
    return ""


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8", "replace")).digest()).decode("ascii")

"""What a page may do: show what it carries, and run the scripts that travel with the program. Nothing else, whoever
wrote its template.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

_SCRIPT = re.compile(r"<script[^>]*>(.*?)</script>", re.DOTALL)
_CLOSED = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_NO_WAY_OUT = "; base-uri 'none'; form-action 'none'"
# what loads, sends or leads away by itself, beside scripts
_TAGS = {"applet", "base", "embed", "form", "frame", "frameset", "iframe", "object", "portal"}
_ADDRESSES = {"action", "background", "data", "formaction", "href", "poster", "src", "srcset", "xlink:href"}
_RUN = re.compile(r"(javascript|vbscript|data):", re.IGNORECASE)
_SEEN_BY_NOBODY = re.compile(r"[\x00-\x20]")  # browsers take these out of the scheme of an address


@cache
def scripts(travelling: Path) -> str:
    """The scripts of the templates that travel with the program, as sources of a content security policy."""
    texts = (
        script for page in sorted(travelling.glob("*.html")) for script in _SCRIPT.findall(page.read_text("utf-8"))
    )
    return " ".join(dict.fromkeys(f"'sha256-{_digest(text)}'" for text in texts))


def closed(travelling: Path) -> str:
    """The policy of a page that stands alone."""
    return f"{_CLOSED}; script-src {scripts(travelling)}"


def served(travelling: Path) -> str:
    """The policy of the page of `watch`, which shows pictures from where it comes from, and listens there."""
    return (
        f"default-src 'none'; img-src 'self' data:; style-src 'unsafe-inline'; script-src {scripts(travelling)}; "
        "connect-src 'self'"
    )


def guarded(html: str, travelling: Path) -> str:
    """A page that cannot do more than it may, whatever stands in it: a browser holds itself to a policy from where it
    stands on, so it comes first.
    """
    policy = f'<meta http-equiv="Content-Security-Policy" content="{closed(travelling)}{_NO_WAY_OUT}">'
    return f'<!DOCTYPE html>\n<meta charset="utf-8">\n{policy}\n{html}'


def forbidden(html: str, travelling: Path) -> str:
    """The first thing in a page that runs, loads or leads away by itself, ready to print; "" where there is none."""
    seen = _Seen(scripts(travelling))
    seen.feed(html)
    seen.close()
    return seen.found


class _Seen(HTMLParser):
    def __init__(self, known: str) -> None:
        super().__init__()
        self._known = known
        self._script: str | None = None  # what stands in the one that is open
        self.found = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "script":
            self._script = ""
        if tag in _TAGS or (tag == "script" and given.keys() & {"src", "type", "href", "xlink:href"}):
            self._tell(f"<{tag}>")
        if tag == "meta" and given.get("http-equiv", "").strip().lower() == "refresh":
            self._tell("<meta> that leads to another page")
        for name, value in given.items():
            address = _SEEN_BY_NOBODY.sub("", value)
            picture = tag in ("img", "link") and address.lower().startswith("data:")
            loads = name in _ADDRESSES and name not in ("href", "xlink:href")
            if name.startswith("on"):
                self._tell(f"<{tag}> with {name}")
            elif name in _ADDRESSES and _RUN.match(address) and not picture:
                self._tell(f"<{tag}> whose {name} holds something to run")
            elif (
                (loads or tag in ("link", "image", "use"))
                and name in _ADDRESSES
                and not (picture or address[:1] in ("", "#"))
            ):
                self._tell(f"<{tag}> that loads something from elsewhere")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self._script is not None and f"'sha256-{_digest(self._script)}'" not in self._known:
            self._tell("<script> of its own")
        self._script = None

    def handle_data(self, data: str) -> None:
        if self._script is not None:
            self._script += data

    def close(self) -> None:
        """The end of the page, and of a script that nothing ends."""
        super().close()
        self.handle_endtag("")

    def _tell(self, what: str) -> None:
        self.found = self.found or what


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8", "replace")).digest()).decode("ascii")

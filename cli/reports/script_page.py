"""A page in one file with a script of its own and what that goes by; nothing else may run or load."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from handlap.cli.reports.page import escape


def script_page(
    title: str, style: str, body: str, data: tuple[str, dict[str, Any]], script: str, *, head: str = ""
) -> str:
    """The page.

    Parameters
    ----------
    title : as plain text
    body : HTML, that ends its last line
    data : id of the element that holds what the script goes by, and that
    head : more lines of the head, before its title

    By its content policy nothing runs but this script, nothing is styled but by this style.
    """
    name, held = data
    return (
        '<!doctype html>\n<html lang="en-GB" class="quiet">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        f"script-src '{digest_of(script)}'; style-src '{digest_of(style)}'; base-uri 'none'; "
        "form-action 'none'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"{head}<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}"
        f'<script type="application/json" id="{name}">{harmless_json(held)}</script>\n'
        f"<script>{script}</script>\n</body>\n</html>\n"
    )


def as_properties(palette: Mapping[str, tuple[str, str]]) -> str:
    """A palette, light and dark, as properties of a page's style sheet."""
    light, dark = (
        " ".join(f"--{name}: {shades[kind]};" for name, shades in palette.items()) for kind in (0, 1)
    )
    return f":root {{ {light} }}\n@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"


def digest_of(text: str) -> str:
    """The digest by which a page allows one script or style and no other."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def harmless_json(data: dict[str, Any]) -> str:
    """JSON that cannot end the element it stands in, whatever names a scenario holds."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")

"""What every page of ours begins with: one file, its own style and script, nothing fetched."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from html import escape
from importlib import resources


@cache
def shipped(name: str) -> str:
    """The text of a file of ``page/``."""
    return resources.files(__package__).joinpath(f"page/{name}").read_text("utf-8")


def page_head(title: str, *, style: str, script: str = "") -> str:
    """Everything before what is seen, ``<body>`` included; ``title`` is escaped here.

    ``style`` names a file of ``page/`` that follows what all pages share. ``script`` is the
    text of the only script that may run, empty for a page without any.
    """
    styles = shipped("common.css") + shipped(style)
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; img-src data:; "
        + (f"script-src {_hash(script)}; " if script else "")
        + f"style-src {_hash(styles)}"
    )
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(title)}</title>",
            '<link rel="icon" href="data:,">',
            f"<style>{styles}</style>",
            "</head>",
            "<body>",
        ]
    )


def _hash(text: str) -> str:
    """How a content security policy names a text that it lets through."""
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest())
    return f"'sha256-{digest.decode('ascii')}'"

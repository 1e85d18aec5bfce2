"""The MusicXML schema, where the open data is at hand."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from lxml import etree

_ROOT = Path(__file__).resolve().parents[3]
_DATA = Path(os.environ.get("ARRANGER_DATA", _ROOT.parent / "shared" / "data"))
_SCHEMA = _DATA / "musicxml-xsd" / "musicxml.xsd"


class _Beside(etree.Resolver):
    """Finds xml.xsd and xlink.xsd next to the schema instead of on the network."""

    def resolve(self, system_url, public_id, context):  # type: ignore[no-untyped-def]
        beside = _SCHEMA.parent / system_url.rsplit("/", 1)[-1]
        return self.resolve_filename(str(beside), context) if beside.exists() else None


@pytest.fixture(scope="session")
def schema() -> etree.XMLSchema:
    """MusicXML 4.0 as the W3C community group publishes it."""
    if not _SCHEMA.exists():
        pytest.skip("the MusicXML schema is not at hand")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Beside())
    return etree.XMLSchema(etree.parse(str(_SCHEMA), parser))

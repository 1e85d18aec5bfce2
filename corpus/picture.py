"""Draw the README's picture anew: ``.venv/bin/python corpus/picture.py``.

The first page of a sheet made from ``corpus/``, as a PNG beside this script.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import typst

from arranger import arrange

HERE = Path(__file__).parent
PIECE = HERE / "auld_lang_syne.mid"
PAGE = '#set page(width: auto, height: auto, margin: 0pt)\n#image("sheet.pdf", width: 160mm)\n'
DOTS_AN_INCH = 110


def main() -> None:
    sheet = arrange(PIECE).documents()["sheet.pdf"]
    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder)
        (room / "sheet.pdf").write_bytes(sheet)
        (room / "picture.typ").write_text(PAGE, "utf-8")
        typst.compile(
            room / "picture.typ",
            output=HERE / "sheet.png",
            root=room,
            format="png",
            ppi=DOTS_AN_INCH,
        )


if __name__ == "__main__":
    main()

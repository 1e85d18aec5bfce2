"""No word of a file acts in our pages, and were it markup the browser would not let it.

A piece whose every name is markup is arranged and compared as a teacher would do it. Then the
finished pages are broken open on purpose: what their content security policy has to stop is
put into them, beside a server that counts who asks. Without the policy it acts, which is how
we know that it would.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import mido
import pytest
from browser_at_hand import NEEDS_A_BROWSER, chromium
from hostile_files import ACTING_TEXTS
from small_pieces import small_piece

from arranger import arrange, compare
from arranger.music.outcome import Outcome
from arranger.render import compare_page, overview_page

pytestmark = NEEDS_A_BROWSER
TITLE = "</title></svg></script><script>pwned=1</script><img src=x onerror=pwned=1>"
PAGES = ("sheet.html", "compare.html", "index.html")


def evil_piece(file: Path) -> Path:
    """Title, composer, track names, lyrics and texts are all markup."""
    song = mido.MidiFile(small_piece(file))
    song.tracks[0].insert(0, mido.MetaMessage("track_name", name=TITLE))
    song.tracks[1].insert(0, mido.MetaMessage("track_name", name=TITLE))
    for text in ACTING_TEXTS:
        plain = text.encode("latin-1", "replace").decode("latin-1")
        song.tracks[0].insert(0, mido.MetaMessage("text", text=f"by {plain}"))
        song.tracks[0].insert(0, mido.MetaMessage("lyrics", text=plain))
    song.save(file)
    return file


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The three kinds of page, made of such a piece, in a folder."""
    folder = tmp_path_factory.mktemp("closed")
    piece = evil_piece(folder / "<img src=x onerror=pwned=1>.mid")
    player = folder / "player.toml"
    player.write_text(f"name = '''{TITLE}'''\n", "utf-8")
    result = arrange(piece, player=player, anyway=True)
    assert result.arrangement.title.startswith("</title>")
    (folder / "sheet.html").write_bytes(result.documents()["sheet.html"])
    both = compare(piece, levels=["beginner"], players=[player])
    (folder / "compare.html").write_text(compare_page(both), "utf-8")
    said = {"title": TITLE, "composer": TITLE, "reason": TITLE, "warnings": (TITLE,)}
    row = Outcome(piece=f"{TITLE}.mid", level="beginner", status="refused", **said)  # type: ignore[arg-type]
    page = "".join(overview_page(lambda: iter([row]), lambda _: [TITLE]))
    (folder / "index.html").write_text(page, "utf-8")
    return folder


@dataclass
class Outside:
    """A server on this machine that counts who asks for what."""

    server: ThreadingHTTPServer
    asked: list[str] = field(default_factory=list)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"


@pytest.fixture(scope="module")
def outside() -> Iterator[Outside]:
    class Counting(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            found.asked.append(self.path)
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_POST = do_GET  # noqa: N815

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    Counting.timeout = 5  # a connection opened and not used holds nobody up
    found = Outside(ThreadingHTTPServer(("127.0.0.1", 0), Counting))
    threading.Thread(target=found.server.serve_forever, daemon=True).start()
    yield found
    found.server.shutdown()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


def opened(browser: Any, page: Path) -> tuple[Any, list[str]]:
    """The page, and what it did that no page of ours does."""
    tab = browser.new_page()
    wrong: list[str] = []
    tab.on("request", lambda asked: wrong.append(asked.url))
    tab.on("dialog", lambda dialog: (wrong.append(dialog.message), dialog.dismiss()))
    tab.on("console", lambda message: wrong.append(message.text))
    tab.on("pageerror", lambda error: wrong.append(str(error)))
    tab.goto(page.as_uri())
    tab.wait_for_timeout(100)
    wrong.remove(page.as_uri())
    return tab, wrong


@pytest.mark.parametrize("name", PAGES)
def test_words_of_a_file_do_not_act(name: str, pages: Path, browser: Any) -> None:
    tab, wrong = opened(browser, pages / name)
    assert wrong == []
    assert tab.evaluate("typeof pwned") == "undefined"
    assert tab.locator("img, iframe, a[href^=javascript]").count() == 0
    assert TITLE[:30] in tab.locator("body").inner_text()
    tab.close()


def broken_open(page: str, url: str) -> str:
    """The page with everything in it that could run or ask."""
    attack = f"""
<script>pwned = 1; fetch("{url}/fetch")</script>
<script src="{url}/script"></script>
<img src="{url}/image" onerror="pwned = 2"><svg onload="pwned = 3"></svg>
<link rel="stylesheet" href="{url}/style"><style>@import "{url}/import";</style>
<p style="background: url({url}/background)">x</p>
<iframe src="{url}/frame"></iframe><object data="{url}/object"></object>
<video src="{url}/video"></video><form id="f" action="{url}/form" method="post"></form>
<a id="act" href="javascript:pwned = 4">x</a>
"""
    return page.replace("</main>", f"{attack}</main>")


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("policy", [True, False], ids=["with policy", "without"])
def test_policy_stops_what_would_act(
    name: str, policy: bool, pages: Path, browser: Any, outside: Outside
) -> None:
    text = broken_open((pages / name).read_text("utf-8"), outside.url)
    if not policy:
        text, count = re.subn(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
        assert count == 1
    file = pages / f"{policy}-{name}"
    file.write_text(text, "utf-8")
    outside.asked.clear()
    tab = browser.new_page()
    tab.goto(file.as_uri())
    tab.locator("#act").click()
    tab.wait_for_timeout(200)
    ran = tab.evaluate("typeof pwned") != "undefined"
    tab.locator("#f").evaluate("form => form.submit()")
    tab.wait_for_timeout(300)
    tab.close()
    asked = {path.strip("/") for path in outside.asked}
    if policy:
        assert (ran, asked) == (False, set())
    else:
        assert ran
        assert {"fetch", "script", "image", "style", "import", "frame", "form"} <= asked

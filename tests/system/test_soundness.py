"""The check of a page's soundness is itself checked: what is right passes, each thing that is wrong is named."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.system.browser import chromium, visiting
from tests.system.soundness import complaints, violations

pytestmark = pytest.mark.system

GOOD = """<main><h1>Rack</h1><h2>Sleds</h2><p>One line of text, and another so long that it has to be broken.</p>
<table><tr><td>a cell</td><td>and the next</td></tr></table>
<svg width="100" height="20"><text x="2" y="15">Sled 1</text></svg>
<details><summary>folded</summary><p style="position:absolute;left:0">hidden on top</p></details>
<div style="overflow-x:auto;width:80px"><pre>a long line that may be moved sideways</pre></div>
<span style="position:absolute;width:1px;height:1px;overflow:hidden">for assistive tools</span></main>"""

WRONG = [
    ('<div style="position:relative">under it<div style="position:absolute;top:0;left:0">on it</div></div>', 'on "'),
    ('<div style="width:40px;overflow:hidden;white-space:nowrap">a label that is cut</div>', "cut at the side"),
    ('<div style="height:9px;overflow:hidden">a line<br>and another</div>', "cut above or below"),
    (
        '<div style="width:50px;overflow:hidden;white-space:nowrap;text-overflow:ellipsis">cut by dots</div>',
        "cut by an ellipsis",
    ),
    ('<svg width="30" height="20"><text x="2" y="15">outside</text></svg>', "outside its drawing"),
    (
        '<svg width="90" height="30"><text x="2" y="15">one</text><text x="8" y="17">two</text></svg>',
        'on "',
    ),
    ('<svg width="50" height="10" viewBox="0 0 500 100"><text x="2" y="50">small</text></svg>', "px high"),
    ('<p style="margin-left:380px;white-space:nowrap">beyond the edge of the screen</p>', "cut at the side"),
    ("<h4>no third before the fourth</h4>", "heading 4 after"),
    ("<h1>Another</h1>", "not exactly one h1"),
    (
        '<div id="host"></div><script>document.getElementById("host").attachShadow({mode: "open"}).innerHTML ='
        "'<div style=\"width:30px;overflow:hidden;white-space:nowrap\">cut in a shadow tree</div>'</script>",
        "cut at the side",
    ),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


def test_what_is_sound_passes(browser: Browser) -> None:
    with visiting(browser, 390, 844) as visit:
        visit.page.set_content(GOOD)
        assert complaints(visit.page) == []


@pytest.mark.parametrize(("wrong", "said"), WRONG, ids=[said for _, said in WRONG])
def test_what_is_wrong_is_named(browser: Browser, wrong: str, said: str) -> None:
    with visiting(browser, 390, 844) as visit:
        visit.page.set_content(f"<main><h1>Rack</h1><h2>Sleds</h2>{wrong}</main>")
        found = complaints(visit.page)
        assert any(each.startswith(said) or said in each for each in found), found


def test_axe_core_finds_what_assistive_tools_would_stumble_over(browser: Browser) -> None:
    with visiting(browser, 390, 844) as visit:
        visit.page.set_content(
            '<html lang="en"><head><title>t</title></head><body><main><h1>R</h1><a href="./"></a>'
            '<p style="color:#999;background:#fff">faint</p></main></body></html>'
        )
        found = "\n".join(violations(visit.page))
        assert "link-name" in found
        assert "color-contrast" in found

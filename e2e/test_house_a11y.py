"""The usability checks themselves: each finds its fault on a page that has it, and only there."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from e2e import a11y

GOOD = """<!doctype html><html lang="en"><head><title>Gears</title>
<meta name="viewport" content="width=device-width">
<style>
body { margin: 0; padding: 8px 8px 80px; font: 20px sans-serif; color: #111; background: #fff }
html { scroll-padding-bottom: 80px }
a, button, input { display: block; min-height: 48px; min-width: 48px; font: inherit; color: #111;
  background: #fff; margin: 0 0 8px }
nav { position: fixed; bottom: 0; left: 0; right: 0; height: 64px; background: #fff }
nav a { margin: 0; line-height: 48px }
.long { height: 900px }
</style></head><body>
<main><h1>Gears</h1><p>Turn the spur.</p><label for="pinion">Pinion</label>
<input id="pinion" value="20"><button id="less">Less</button><button id="more">More</button>
%s<div class="long"></div><button id="last">Last</button></main>
<nav aria-label="Places"><a href="#gears">Gears</a></nav></body></html>"""


def measured(page: Page, extra: str) -> list[str]:
    page.set_content(GOOD % extra)
    return a11y.measured(page)


def test_a_good_page_has_no_problem(page: Page) -> None:
    page.set_content(GOOD % "")
    assert a11y.problems(page) == []
    a11y.check(page)


@pytest.mark.parametrize(
    ("extra", "rule", "element"),
    [
        ('<button id="x"></button>', "button-name", "#x"),
        ('<img src="data:,">', "image-alt", "img"),
    ],
)
def test_a_fault_under_the_standard_is_found(
    page: Page, extra: str, rule: str, element: str
) -> None:
    page.set_content(GOOD % extra)
    assert [p for p in a11y.axe_violations(page) if p.startswith(rule) and element in p]


@pytest.mark.parametrize(
    ("extra", "fault", "element"),
    [
        ('<p>See <a href="/x" id="x" style="display:inline">rules</a></p>', "target under", "#x"),
        ('<button id="x" style="min-height:40px;height:40px">Go</button>', "target under", "#x"),
        ('<button id="x" style="margin-top:-4px">Go</button>', "targets closer", "#x"),
        ('<p id="x" style="color:#666">Pale</p>', "contrast under", "5.74:1"),
        ('<p id="x" style="color:#00000080">Half</p>', "contrast under", "#x"),
        ('<p id="x" style="opacity:.5">Faint</p>', "contrast under", "#x"),
        ('<p id="x" style="color:oklch(60% 0 0)">Pale</p>', "contrast under", "#x"),
        ('<div style="background:#333"><p id="x">Dark</p></div>', "contrast under", "#x"),
        ('<input id="x" aria-label="Teeth" style="color:#777">', "contrast under", "its value"),
        ('<p id="x" style="background:linear-gradient(red,blue)">Hm</p>', "contrast under", "#x"),
        ('<p id="x" style="font-size:16px">Small</p>', "text under", "16px"),
        ('<p id="x" style="width:340px">Wide</p>', "too wide for 320", "#x"),
        ('<p id="x" style="width:400px">Wide</p>', "too wide for 360", "#x"),
        (
            '<button id="x">Under</button><div style="position:relative;top:-56px;height:56px;'
            'background:#fff">.</div>',
            "covered",
            "#x",
        ),
    ],
)
def test_each_fault_is_found_and_named(page: Page, extra: str, fault: str, element: str) -> None:
    found = [problem for problem in measured(page, extra) if problem.startswith(fault)]
    assert any(element in problem for problem in found), found


def test_a_target_under_the_navigation_is_found(page: Page) -> None:
    page.set_content((GOOD % "").replace("padding: 8px 8px 80px", "padding: 8px"))
    assert [p for p in a11y.measured(page) if p.startswith("covered") and "#last" in p]


@pytest.mark.parametrize(
    "extra",
    [
        '<button disabled style="color:#999">Not now</button>',
        '<button hidden style="height:10px">Gone</button>',
        '<label style="display:block;padding:16px"><input type="checkbox" style="min-width:0;'
        'min-height:0;width:16px">Wet track</label>',
        '<div style="overflow-x:auto" role="region" aria-label="Table" tabindex="0">'
        '<p style="width:800px">Table</p></div>',
        '<a href="#gears" style="position:absolute;left:-999px">Skip</a>',
        '<p style="color:#444">Grey</p>',
    ],
)
def test_what_is_no_fault_is_not_reported(page: Page, extra: str) -> None:
    assert measured(page, extra) == []


def test_the_contrast_is_that_of_the_published_formula(page: Page) -> None:
    # WCAG 2.2, "contrast ratio": black on white is 21:1; #777 on white 4.48:1 and #767676 4.54:1,
    # the usual examples on both sides of 4.5:1.
    page.set_content('<body style="background:#fff"><p style="color:#777">a</p>')
    assert "4.48:1" in a11y.read(page, "", "paleTexts", 7)[0]
    page.set_content('<body style="background:#fff"><p style="color:#767676">a</p>')
    assert "4.54:1" in a11y.read(page, "", "paleTexts", 7)[0]
    page.set_content('<body style="background:#fff"><p style="color:#000">a</p>')
    assert a11y.read(page, "", "paleTexts", 21) == []
    assert a11y.read(page, "", "paleTexts", 21.01) != []


def test_in_the_dark_look_the_colours_alone_are_looked_at(page: Page) -> None:
    faults = '<p id="x" style="color:#888;font-size:12px">Both</p>'
    page.set_content((GOOD % faults).replace("<html", '<html data-theme="dark"'))
    found = a11y.problems(page)
    assert any(problem.startswith("contrast under") and "#x" in problem for problem in found)
    assert any(problem.startswith("color-contrast") and "#x" in problem for problem in found)
    assert not any(problem.startswith("text under") for problem in found)


def test_a_failure_lists_every_problem(page: Page) -> None:
    page.set_content(GOOD % '<p id="x" style="color:#888;font-size:12px">Both</p>')
    with pytest.raises(AssertionError, match=r"(?s)3 problems on .*contrast under.*text under"):
        a11y.check(page)

"""Can everybody use the page: with one thumb, in sunlight, with a keyboard or a screen reader?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page

WCAG: dict[str, Any] = {
    "type": "tag",
    "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"],
}
COLOURS: dict[str, Any] = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
TARGET_PX = 48
GAP_PX = 8
CONTRAST = 7.0
TEXT_PX = 18
WIDTHS_PX = (320, 360)

READER = Path(__file__).with_suffix(".js").read_text(encoding="utf-8").strip()
AXE = Axe()


def check(page: Page) -> None:
    """Fail with the list of everything on the page that keeps somebody from using it."""
    found = problems(page)
    assert not found, f"{len(found)} problems on {page.url}:\n" + "\n".join(found)


def problems(page: Page) -> list[str]:
    """Return every problem as a sentence that names the element.

    The dark look differs from the light one in its colours alone, so that they alone are looked at.
    """
    if page.evaluate("document.documentElement.dataset.theme") == "dark":
        return [*axe_violations(page, COLOURS), *pale_texts(page)]
    return axe_violations(page) + measured(page)


def measured(page: Page) -> list[str]:
    """Return what sunlight and a thumb hold against the page, where no standard goes so far."""
    return [*seen(page), *too_wide(page)]


def seen(page: Page) -> list[str]:
    """Return as much of that as can be seen at the page's present width."""
    return [
        *read(page, f"target under {TARGET_PX} × {TARGET_PX} px", "smallTargets", TARGET_PX),
        *read(page, f"targets closer than {GAP_PX} px", "closeTargets", GAP_PX),
        *pale_texts(page),
        *read(page, f"text under {TEXT_PX} px", "smallTexts", TEXT_PX),
        *read(page, "covered", "coveredTargets"),
    ]


def at_this_width(page: Page) -> list[str]:
    """Return the same, and what makes the page scroll sideways as wide as it is now."""
    width = (page.viewport_size or {"width": 0})["width"]
    return [*seen(page), *read(page, f"too wide for {width} px", "wideParts", width)]


def pale_texts(page: Page) -> list[str]:
    """Return the texts that the sun would wash out."""
    return read(page, f"contrast under {CONTRAST:g}:1", "paleTexts", CONTRAST)


def axe_violations(page: Page, rules: dict[str, Any] = WCAG) -> list[str]:
    """Return what axe-core holds against the page: by WCAG 2.2, levels A and AA, if nothing else is asked."""
    options = {"runOnly": rules, "resultTypes": ["violations"]}
    page.evaluate(AXE.axe_script)
    # What sticks to an edge stands in its own place at the end of the page; `coveredTargets` looks at the rest.
    page.evaluate("document.querySelector('.save-bar') && scrollTo(0, document.body.scrollHeight)")
    violations: list[dict[str, Any]] = page.evaluate(
        "(options) => axe.run(options).then(({ violations }) => violations)", options
    )
    return [
        f"{violation['id']}: {violation['help']}: {', '.join(map(str, node['target']))}"
        for violation in violations
        for node in violation["nodes"]
    ]


def too_wide(page: Page) -> list[str]:
    """Return what makes the page scroll sideways on small phones."""
    size = page.viewport_size
    if size is None:
        raise AssertionError("The page has no fixed size to compare with.")
    found = []
    for width in WIDTHS_PX:
        page.set_viewport_size({"width": width, "height": size["height"]})
        found += read(page, f"too wide for {width} px", "wideParts", width)
    page.set_viewport_size(size)
    return found


def read(page: Page, fault: str, question: str, *limits: float) -> list[str]:
    """Ask one question of the page, with its limit, and label each answer with the fault."""
    answers: list[str] = page.evaluate(f"(limits) => {READER}.{question}(...limits)", list(limits))
    return [f"{fault}: {answer}" for answer in answers]

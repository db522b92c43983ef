"""Templates, styles and scripts: nothing inline, nothing evaluated, nothing from another host."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.house import ROOT, shown

TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
VENDOR = ROOT / "static" / "vendor"
SENT = [
    path
    for path in sorted((ROOT / "static").rglob("*"))
    if path.suffix in {".css", ".js", ".svg", ".json", ".webmanifest"}
    and VENDOR not in path.parents
]
NAMESPACES = {
    "http://www.w3.org/1999/xhtml",
    "http://www.w3.org/1999/xlink",
    "http://www.w3.org/2000/svg",
}
ADDRESS = re.compile(
    r"(?:https?:|wss?:)//[^\s\"'`<>)]+|(?<=[\"'`(])//[\w-]+(?:\.[\w-]+)+[^\s\"'`)]*"
)


def without_jinja(source: str) -> str:
    """Return a template with its comments and statements gone and each expression as one word.

    >>> without_jinja('{# no #}<b{% if x %} id="{{ x }}"{% endif %}>')
    '<b  id="x" >'
    """
    source = re.sub(r"\{#.*?#\}", "", source, flags=re.DOTALL)
    source = re.sub(r"\{%.*?%\}", " ", source, flags=re.DOTALL)
    return re.sub(r"\{\{.*?\}\}", "x", source, flags=re.DOTALL)


LONGEST_LINE = 120
# Addresses of the app's own written out; a draft's key is none, though it looks like one.
WRITTEN_OUT = re.compile(r"""(?<!data-draft=)["'](?=/[a-z])[^"'\s]*["']""")


@pytest.mark.parametrize("template", TEMPLATES, ids=shown)
def test_a_template_is_written_in_lines_that_can_be_read(template: Path) -> None:
    lines = template.read_text().split("\n")
    assert [(n, len(line)) for n, line in enumerate(lines, 1) if len(line) > LONGEST_LINE] == []


@pytest.mark.parametrize("template", TEMPLATES, ids=shown)
def test_a_template_asks_for_addresses_by_name(template: Path) -> None:
    source = re.sub(r"\{#.*?#\}", "", template.read_text(), flags=re.DOTALL)
    assert WRITTEN_OUT.findall(source) == []


class Inline(HTMLParser):
    """Collects what the page policy forbids, which would fail on the phone only."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(f"an inline <{tag}>")
        for name, value in attrs:
            value = value or ""
            evaluated = name.startswith("hx-") and re.match(r"\s*(js|javascript):", value)
            filtered = name == "hx-trigger" and "[" in value
            if name == "style" or re.match(r"on[a-z]+$|hx-on|hx-vars", name):
                self.found.append(f"<{tag} {name}=…>")
            elif evaluated or filtered or value.strip().lower().startswith("javascript:"):
                self.found.append(f"<{tag} {name}={value!r}>")


def inline_parts(source: str) -> list[str]:
    parser = Inline()
    parser.feed(without_jinja(source))
    parser.close()
    return parser.found


def addresses(source: str) -> list[str]:
    return [address for address in ADDRESS.findall(source) if address not in NAMESPACES]


@pytest.mark.parametrize("path", TEMPLATES, ids=shown)
def test_templates_hold_nothing_inline(path: Path) -> None:
    assert inline_parts(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", TEMPLATES + SENT, ids=shown)
def test_nothing_names_another_host(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert addresses(without_jinja(source) if path in TEMPLATES else source) == []


def lost_in_a_part(source: str) -> list[str]:
    """What a page imports or sets outside its blocks: a block that is shown alone lacks it."""
    if "{% extends" not in source:
        return []
    within, lost = 0, []
    for word in re.findall(r"{%-?\s*(block|endblock|from|import|set)\b", source):
        within += {"block": 1, "endblock": -1}.get(word, 0)
        if word in ("from", "import", "set") and not within:
            lost.append(word)
    return lost


@pytest.mark.parametrize("path", TEMPLATES, ids=shown)
def test_a_part_shown_alone_has_what_it_uses(path: Path) -> None:
    assert lost_in_a_part(path.read_text(encoding="utf-8")) == []


def test_what_a_part_would_lack_is_seen() -> None:
    page = '{% extends "a" %}{% from "b" import c %}{% block part %}{% set d = 1 %}{% endblock %}'
    assert lost_in_a_part(page) == ["from"]


@pytest.mark.parametrize(
    "source",
    [
        "<script>go()</script>",
        "<style>a{}</style>",
        '<p style="color:red">',
        '<button onclick="go()">',
        '<a href=" javascript:go()">',
        '<form hx-on:click="go()">',
        "<form hx-vals='js:{a: 1}'>",
        '<form hx-trigger="click[ctrlKey]">',
        '<p{% if x %} style="a"{% endif %}>',
    ],
)
def test_inline_parts_are_seen(source: str) -> None:
    assert len(inline_parts(source)) == 1


@pytest.mark.parametrize(
    "source",
    [
        '<script src="{{ "a.js"|static_url }}"></script>',
        "{# <style> #}<p>style=one onto=two</p>",
        '<option value="on" selected>',
    ],
)
def test_what_is_not_inline_passes(source: str) -> None:
    assert inline_parts(source) == []


@pytest.mark.parametrize(
    ("source", "count"),
    [
        ("@import url(https://fonts.example/a.css)", 1),
        ('<img src="//images.example/a.png">', 1),
        ("new WebSocket('wss://live.example')", 1),
        ("document.createElementNS('http://www.w3.org/2000/svg', 'g')", 0),
        ('fetch("/gearing") // the.server answers', 0),
    ],
)
def test_other_hosts_are_seen(source: str, count: int) -> None:
    assert len(addresses(source)) == count


def test_the_dark_look_differs_in_colours_alone() -> None:
    """So that the browser tests need not measure it all once more (`e2e/a11y.py`)."""
    sheets = {
        path.name: path.read_text() for path in sorted((ROOT / "static" / "css").glob("*.css"))
    }
    assert [name for name, sheet in sheets.items() if "dark" in sheet] == ["tokens.css"]
    values = re.findall(r"var\(--dark, ([^)]*)\)", sheets["tokens.css"])
    assert len(values) > 10
    assert all(re.fullmatch("#[0-9a-f]{6}", value) for value in values)
    switches = re.findall(r"\[data-theme=\"(?:dark|auto)\"\] \{([^}]*)\}", sheets["tokens.css"])
    assert len(switches) == 2
    settings = {each.split(":")[0].strip() for text in switches for each in text.split(";")} - {""}
    assert settings == {"color-scheme", "--light", "--dark"}


# A text of several lines between backticks; texts within its `${…}` count as part of it.
TEXT_OF_LINES = re.compile(r"`(?:[^`\\]|\\.)*`", re.DOTALL)


@pytest.mark.parametrize("path", [each for each in SENT if each.suffix == ".js"], ids=shown)
def test_no_line_of_a_text_looks_like_a_remark(path: Path) -> None:
    """Lines that begin like a remark are not sent to a phone."""
    for text in TEXT_OF_LINES.findall(path.read_text()):
        assert not re.search(r"^[ \t]*/[/*]", text, re.MULTILINE)

"""Plots as small SVG drawings of our own, with their numbers as a table beside.

A route makes a plot, and its template writes `{{ draw(plot) }}` and links `css/plot.css`:

    drawn = plot(
        "heat",                                 # an id, unique on its page
        "Can temperature by FDR",
        Axis("FDR", digits=2),
        Axis("can", "°C"),
        [
            Series("Invented TC", [Point(2.81, 64, "3 May", "/runs/12"), Point(2.94, 58)]),
            Series("45 / 66", line=speeds, points=[Point(38, 61.2, "rev limit")]),
        ],
        levels=[Level(80, "limit")],
        summary="Seven runs: the longer the gear, the hotter the can.",
    )

`points` carry a mark each and are listed in the table; with `joined` a line runs through them.
`line` is a line without marks, of many points, and is not listed. Every series has a mark, a dash
and a colour of its own, so that none of them is needed to tell it. Values are already in the
racer's unit (`unit("temperature").display_value(value)`). `clock_axis` is an axis of the time of day.

`pitapp/web/view/plot.py` lays a plot out and `templates/plot.html` draws it: `{{ draw(plot) }}` in
a template that links `css/plot.css`. It is a small SVG template of our own and no charting library,
because:
- its lines and letters take the colours of the page (light, dark, sunlight) and turn black on white
  in print, which a picture in `<img>` or a canvas does not;
- it needs no script, no inline style and no other file, so that the page policy and a dead server
  leave it as it is;
- the drawing is one image with a sentence for a screen reader, and the numbers stand beside it as a
  table, with links to the runs;
- series differ by mark and dash as well as by colour, letters are 18 px at 320 px of screen, and
  print is vector.

A library would bring zooming and animation, which nobody needs beside a track.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, tzinfo
from typing import Any, NamedTuple

from flask import Flask, render_template
from markupsafe import Markup

from pitapp.limits import number
from pitapp.units import with_minus
from pitapp.web.forms.quantities import rounded
from pitapp.web.view.ticks import clock_ticks, decimals, nice_ticks, widened

WIDTH, CHARACTER, LETTER_HEIGHT, MARK = 320.0, 12.0, 20.0, 6.0
LARGEST = 1e12
SHORT = 8
SHAPES = (
    "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0z",
    "M-5.5-5.5h11v11h-11z",
    "M0-7 6.5 5.5h-13z",
    "M0-7.5 7 0 0 7.5-7 0z",
    "M-5.5-5.5 5.5 5.5M-5.5 5.5 5.5-5.5",
    "M0-7.5v15M-7.5 0h15",
)


class Point(NamedTuple):
    """A value to mark; the note and the address stand in the table."""

    x: float
    y: float
    note: str = ""
    href: str = ""


class Level(NamedTuple):
    """A line across the plot at a height, such as a limit."""

    y: float
    label: str


class Axis(NamedTuple):
    """What is plotted along one side, its unit, and how its values are written in the table."""

    label: str
    unit: str = ""
    digits: int | None = None
    text: Callable[[float], str] | None = None
    ticks: Callable[[float, float, int], list[float]] = nice_ticks

    @property
    def title(self) -> str:
        """The label with its unit."""
        return f"{self.label}, {self.unit}" if self.unit else self.label

    def written(self, value: float) -> str:
        """A value as the table has it."""
        if self.text:
            return self.text(value)
        return with_minus(f"{value:.6g}") if self.digits is None else rounded(value, self.digits)


class Series(NamedTuple):
    """Values that belong together, under one name."""

    name: str
    points: Sequence[Point] = ()
    line: Sequence[tuple[float, float]] = ()
    joined: bool = False


class Tick(NamedTuple):
    """A tick as it is drawn: its place, and its label."""

    at: float
    label: str


class DrawnLevel(NamedTuple):
    """A level as it is drawn, and the height of its label."""

    at: float
    label_at: float
    label: str


class DrawnSeries(NamedTuple):
    """A series as it is drawn: its mark, its line's path, and where its marks stand."""

    name: str
    look: int
    mark: str
    path: str
    marks: list[tuple[float, float]]


class Row(NamedTuple):
    """A line of the table."""

    x: str
    y: str
    note: str
    href: str


class Plot(NamedTuple):
    """A plot, ready for its template."""

    id: str
    title: str
    summary: str
    x: Axis
    y: Axis
    height: float
    left: float
    right: float
    top: float
    bottom: float
    x_ticks: list[Tick]
    y_ticks: list[Tick]
    levels: list[DrawnLevel]
    series: list[DrawnSeries]
    rows: list[tuple[str, list[Row]]]
    width: float = WIDTH

    @property
    def several(self) -> bool:
        """Whether a legend and headings in the table are needed."""
        return len(self.series) > 1

    @property
    def noted(self) -> bool:
        """Whether any row says more than its numbers."""
        return any(row.note for _, rows in self.rows for row in rows)

    @property
    def short(self) -> bool:
        """Whether the table is short enough to stand open."""
        return sum(len(rows) for _, rows in self.rows) <= SHORT


def plot(
    id: str,
    title: str,
    x: Axis,
    y: Axis,
    series: Iterable[Series],
    *,
    summary: str = "",
    levels: Sequence[Level] = (),
    height: float = 220.0,
) -> Plot:
    """Lay the plot out in a drawing 320 wide, whose text is 18 px where it is shown 288 px wide.

    Raises:
        ValueError: a value is not finite or absurdly large, or there are more series than marks.
    """
    plotted = [each for each in series if each.points or each.line]
    if len(plotted) > len(SHAPES):
        raise ValueError(f"A plot tells at most {len(SHAPES)} series apart.")
    places = [place for each in plotted for place in _places(each)]
    if not places:
        return Plot(id, title, summary, x, y, height, 0, 0, 0, 0, [], [], [], [], [])
    x_low, x_high = widened([place[0] for place in places])
    y_low, y_high = widened([place[1] for place in places] + [level.y for level in levels])
    top, bottom = LETTER_HEIGHT * 1.6, height - LETTER_HEIGHT * 2.4
    y_values = y.ticks(y_low, y_high, max(2, int((bottom - top) / (LETTER_HEIGHT * 1.6))))
    y_texts = _labels(y, y_values)
    left = max(len(text) for text in y_texts) * CHARACTER + 8
    x_values, x_texts = _fitting(x, x_low, x_high, WIDTH - left)
    right = WIDTH - max(MARK, len(x_texts[-1]) * CHARACTER / 2 - 4)

    def across(value: float) -> float:
        return round(left + (value - x_low) / (x_high - x_low) * (right - left), 1)

    def up(value: float) -> float:
        return round(bottom - (value - y_low) / (y_high - y_low) * (bottom - top), 1)

    drawn = []
    for look, each in enumerate(plotted):
        line = each.line or ([point[:2] for point in each.points] if each.joined else ())
        path = " ".join(f"{across(at)} {up(value)}" for at, value in line)
        marks = [(across(point.x), up(point.y)) for point in each.points]
        drawn.append(DrawnSeries(each.name, look, SHAPES[look], f"M{path}" if path else "", marks))
    return Plot(
        id=id,
        title=title,
        summary=summary,
        x=x,
        y=y,
        height=height,
        left=round(left, 1),
        right=round(right, 1),
        top=top,
        bottom=bottom,
        x_ticks=[Tick(across(v), text) for v, text in zip(x_values, x_texts, strict=True)],
        y_ticks=[Tick(up(v), text) for v, text in zip(y_values, y_texts, strict=True)],
        levels=[_level(level, up(level.y), top) for level in levels],
        series=drawn,
        rows=[
            (
                each.name,
                [Row(x.written(p.x), y.written(p.y), p.note, p.href) for p in each.points],
            )
            for each in plotted
            if each.points
        ],
    )


def clock_axis(label: str, zone: tzinfo) -> Axis:
    """An axis of the time of day on that zone's wall clock; its values are seconds since 1970.

    >>> from datetime import UTC
    >>> axis = clock_axis("time", UTC)
    >>> axis.written(datetime(2026, 5, 3, 9, 30, tzinfo=UTC).timestamp())
    '09:30'
    """

    def text(value: float) -> str:
        return f"{datetime.fromtimestamp(value, zone):%H:%M}"

    def ticks(low: float, high: float, most: int) -> list[float]:
        return clock_ticks(low, high, most, zone)

    return Axis(label, text=text, ticks=ticks)


def _places(series: Series) -> list[tuple[float, float]]:
    places = [(point.x, point.y) for point in series.points] + list(series.line)
    for value in (value for place in places for value in place):
        number(value, f"value of {series.name}", -LARGEST, LARGEST)
    return places


def _labels(axis: Axis, values: list[float]) -> list[str]:
    if axis.text:
        return [axis.text(value) for value in values]
    digits = decimals(values)
    return [rounded(value, digits) for value in values]


def _fitting(axis: Axis, low: float, high: float, room: float) -> tuple[list[float], list[str]]:
    """As many ticks as the room takes without their labels meeting."""
    for most in range(6, 1, -1):
        values = axis.ticks(low, high, most)
        texts = _labels(axis, values)
        widest = max(len(text) for text in texts) * CHARACTER + CHARACTER / 2
        apart = (values[1] - values[0]) / (high - low) * room if len(values) > 1 else room
        if apart >= widest:
            break
    return values, texts


def _level(level: Level, at: float, top: float) -> DrawnLevel:
    above = at - 5
    return DrawnLevel(at, above if above - LETTER_HEIGHT > top else at + LETTER_HEIGHT, level.label)


def register(app: Flask) -> None:
    """Offer `draw(plot)` to templates."""

    def draw(drawn: Plot) -> Any:
        return Markup(render_template("plot.html", plot=drawn))  # noqa: S704

    app.jinja_env.globals["draw"] = draw

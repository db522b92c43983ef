"""Figures have one form each, on whatever screen they stand."""

from __future__ import annotations

import re

import pytest

from pitapp.demo import fill
from pitapp.web.forms.quantities import rounded
from tests.support import PageClient

SCREENS = (
    "/",
    "/gearing",
    "/gearing?kind=ratio&value=2.79",
    "/gearing/table",
    "/gearing/log",
    "/forecast",
    "/forecast/gears",
    "/forecast/figures",
    "/forecast/learned",
    "/forecast/shopping",
    "/kit",
    "/kit/cars/2",
    "/runs",
    "/runs/1",
    "/runs/new",
    "/tracks/1",
    "/tracks/2",
    "/meetings/1/report",
    "/checks/card",
    "/roll",
    "/packs",
    "/packs/1",
    "/bench/motors/1",
)


@pytest.fixture
def demo(client: PageClient) -> PageClient:
    fill(client.application)
    return client


def words(page: str) -> str:
    """What a page says, without its tags, its fields and its choices."""
    main = re.sub(r"<(script|svg|template|select)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"<[^>]+>", " ", main.partition("<main")[2])


@pytest.mark.parametrize("path", SCREENS)
def test_thousands_are_set_apart_and_a_pair_is_a_pair(demo: PageClient, path: str) -> None:
    said = words(demo.get(path).text)
    assert re.findall(r"(?<![\d.,\u202f])\d{5,}\s*(?:rpm|mAh|rpm/V)", said) == []
    assert re.findall(r"(?<![\d/])[2-9]\d/[2-9]\d(?![\d/])", said) == []


@pytest.mark.parametrize("path", SCREENS)
def test_an_fdr_has_two_decimals_or_three_beside_one_that_reads_alike(
    demo: PageClient, path: str
) -> None:
    said = words(demo.get(path).text)
    ratios = re.findall(r"FDR\s+(\d+(?:\.\d+)?)", said)
    assert all(re.fullmatch(r"\d+\.\d\d\d?", ratio) for ratio in ratios), ratios
    for ratio in ratios:
        if len(ratio.partition(".")[2]) == 3:
            assert len({each for each in ratios if each.startswith(ratio[:-2])}) > 1, ratio


def test_a_time_of_minutes_is_written_so_in_the_class_too(demo: PageClient) -> None:
    assert re.search(r'id="run_length_s"[^>]* value="5:00"', demo.get("/meetings/classes/1").text)
    usual = words(demo.get("/forecast/figures").text)
    assert "4:00 to 10:00" in usual


def test_where_a_figure_has_no_source_that_is_said_once(demo: PageClient) -> None:
    assert words(demo.get("/forecast/figures").text).count("unsourced") == 1


def test_a_figure_smaller_than_any_of_a_car_is_still_written() -> None:
    """As at the marks of a plot of next to nothing."""
    assert rounded(1e-7, 7) == "0.0000001"
    assert rounded(-1e-9, 7) == "0.0000000"
    assert rounded(-2e6, 1) == "−2000000.0"

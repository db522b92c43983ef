"""Fixtures: the app over a temporary data folder, with every guard on as for a racer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import pytest
from flask import Flask
from hypothesis import HealthCheck, settings

from tests import compiled_once, rooms
from tests.support import Clock, PageClient

# On a machine whose cores are taken a drawn example may take any time.
settings.register_profile("any", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any")


def pytest_configure(config: pytest.Config) -> None:
    rooms.register(config)
    compiled_once.share()


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    return rooms.is_left_out(collection_path, config.option.markexpr) or None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    rooms.mark(items, Path(__file__).parent)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(tmp_path: Path, clock: Clock) -> Iterator[Flask]:
    from pitapp import create_app

    app = create_app(tmp_path / "data", clock=clock)
    app.test_client_class = PageClient
    yield app
    app.extensions["pitapp.db"].close()


@pytest.fixture
def client(app: Flask) -> PageClient:
    return cast(PageClient, app.test_client())


@pytest.fixture
def db(app: Flask) -> sqlite3.Connection:
    return cast(sqlite3.Connection, app.extensions["pitapp.db"].connection())

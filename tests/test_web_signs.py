"""A field that takes a negative number has a key for the minus, which some phones' keypads lack."""

from __future__ import annotations

import importlib
import re
import sqlite3

import pytest
from flask import Flask
from pydantic import BaseModel

from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Step
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.web.forms.fields import NumberField, QuantityField
from tests.house import PACKAGE, module_name, python_files, shown
from tests.support import RACE_MORNING, PageClient

MODELS = [path for path in python_files(PACKAGE) if path.name == "models.py"]


def may_be_negative(model: type[BaseModel]) -> list[str]:
    """The fields of a model whose least value is under zero."""
    return [
        name
        for name, field in model.model_fields.items()
        if any(getattr(each, "ge", 0) < 0 or getattr(each, "gt", 0) < 0 for each in field.metadata)
    ]


@pytest.mark.parametrize("path", MODELS, ids=shown)
def test_what_may_be_negative_is_signed(app: Flask, path: object) -> None:
    models = importlib.import_module(module_name(path))  # type: ignore[arg-type]
    try:
        forms = importlib.import_module(models.__name__.removesuffix("models") + "forms")
    except ModuleNotFoundError:
        forms = None
    names = {
        name
        for each in vars(models).values()
        if isinstance(each, type) and issubclass(each, BaseModel)
        for name in may_be_negative(each)
    }
    with app.test_request_context():
        fields = [
            field
            for each in vars(forms or models).values()
            if isinstance(each, type) and hasattr(each, "hidden_tag")
            for field in each()
            if isinstance(field, NumberField) and field.name in names
        ]
    unsigned = {field.name for field in fields if not field.signed}
    of_a_motor_that_ran = {"can_c", "second_can_c"}
    assert unsigned == (of_a_motor_that_ran if models.__name__ == "pitapp.runs.models" else set())


def test_the_key_stands_beside_its_field(client: PageClient) -> None:
    page = client.get("/meetings/classes/new").text
    assert re.search(r'<button type="button" class="sign" data-sign="timing_deg"', page)
    assert 'data-sign="rev_limit_rpm"' not in page


def test_a_temperature_is_signed_and_a_weight_is_not(app: Flask) -> None:
    from pitapp.web.forms.form_errors import PitForm

    class Form(PitForm):
        air = QuantityField("Air", kind="temperature")
        mass = QuantityField("Weight", kind="mass")

    with app.test_request_context():
        form = Form()
    assert form.air.signed
    assert not form.mass.signed


def test_an_angle_of_a_list_is_signed_where_it_is_planned_and_read(
    client: PageClient, db: sqlite3.Connection
) -> None:
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, RACE_MORNING)
    camber = Step(name="Camber", kind="number", unit="°")
    voltage = Step(name="Pack", kind="number", unit="V")
    item = Controller(name="Invented controller")
    new_id, _ = controllers.add(db, item, [camber, voltage], car_id, RACE_MORNING)
    plan = client.get(f"/checks/lists/{lists.settings_list(db, new_id).id}/plan").text
    fields = re.findall(r'<input id="([^"]+)"', plan)
    assert len(fields) == 2
    assert re.findall(r'data-sign="([^"]+)"', plan) == fields[:1]
    run = client.get(f"/checks/lists/{lists.settings_list(db, new_id).id}/run").text
    assert 'data-sign="shown"' in run

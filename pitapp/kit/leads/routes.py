"""The leads' screens: what they lose at a current, and one entry with its other gauges."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request
from pydantic import ValidationError

from pitapp.db import get_db
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.leads import store
from pitapp.kit.leads.forms import LeadForm, LoadForm
from pitapp.kit.leads.models import Lead, Load
from pitapp.kit.models import Car
from pitapp.kit.scales import store as scales
from pitapp.kit.scales.models import Part
from pitapp.web.clock import current_settings, now
from pitapp.web.forms.form_errors import in_words
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("leads", __name__, url_prefix="/leads")
OTHER_GAUGES = 4


@blueprint.get("")
def page() -> Any:
    return show("kit/leads.html", **_leads(get_db(), LeadForm()))


@blueprint.get("/part")
def page_part() -> Any:
    return show_part("kit/leads.html", **_leads(get_db(), LeadForm()))


def _leads(
    connection: sqlite3.Connection, form: LeadForm, car: Car | None = None
) -> dict[str, Any]:
    car = car or kit.car_in_use(connection, current_settings())
    load, load_form = _load()
    leads = store.leads(connection, car.id)
    return {
        "car": car,
        "form": form,
        "load": load,
        "load_form": load_form,
        "leads": leads,
        "ohm": sum(lead.resistance_ohm(load.copper_c) for lead in leads),
        "grams": sum(lead.copper_g for lead in leads),
    }


def _load() -> tuple[Load, LoadForm]:
    """The load asked for, or the usual one with the reason at the form's fields."""
    submitted = any(name in request.args for name in Load.model_fields)
    form = LoadForm(request.args) if submitted else LoadForm(data=Load().model_dump())
    if not form.validate():
        return Load(), form
    try:
        return Load(**{name: v for name, v in form.data.items() if v is not None}), form
    except ValidationError as error:
        for finding in error.errors():
            form[str(finding["loc"][0])].errors = [in_words(finding)]
        return Load(), form


@blueprint.post("")
@write
def add_lead(connection: sqlite3.Connection) -> Any:
    car, form = subject.form_car_needed(connection), LeadForm()
    record = form.fill(Lead, car_id=car.id)
    if record is None:
        return show("kit/leads.html", 422, **_leads(connection, form, car))
    _, token = store.save_lead(connection, record, now())
    notice(f"Added {record.name}{subject.other_car_note(connection, car)}", token)
    return after_write("kit.leads.page", "kit.leads.page_part")


@blueprint.get("/<int:lead_id>")
def lead(lead_id: int) -> Any:
    item = store.lead(get_db(), lead_id)
    return _show_lead(LeadForm(data=item.model_dump()), item)


def _show_lead(form: LeadForm, item: Lead, status: int = 200) -> Any:
    load, load_form = _load()
    gauges = range(max(0, item.awg - OTHER_GAUGES), min(40, item.awg + OTHER_GAUGES) + 1)
    return show(
        "kit/lead.html",
        status,
        form=form,
        item=item,
        load=load,
        load_form=load_form,
        others=[item.model_copy(update={"awg": awg}) for awg in gauges],
    )


@blueprint.post("/<int:lead_id>")
@write
def save_lead(connection: sqlite3.Connection, lead_id: int) -> Any:
    item = store.lead(connection, lead_id)
    form = LeadForm()
    record = form.fill(Lead, id=item.id, car_id=item.car_id)
    saved, (_, token) = save_form(connection, form, item, record, store.save_lead, _show_lead)
    notice(f"Saved {saved.name}", token)
    return after_write("kit.leads.page")


@blueprint.post("/<int:lead_id>/remove")
@write
def remove_lead(connection: sqlite3.Connection, lead_id: int) -> Any:
    notice("Removed the leads", store.remove_lead(connection, lead_id, now()))
    return after_write("kit.leads.page")


@blueprint.post("/<int:lead_id>/weigh")
@write
def weigh_lead(connection: sqlite3.Connection, lead_id: int) -> Any:
    item = store.lead(connection, lead_id)
    part = Part(
        car_id=item.car_id,
        name=f"{item.name[:48]}, {item.awg} AWG",
        mass_g=round(item.copper_g, 2) or 0.01,
    )
    _, token = scales.save_part(connection, part, now())
    notice(f"{part.name} is on the parts list", token)
    return after_write("kit.scales.page")

"""A number for each cell of a pack."""

from __future__ import annotations

from typing import Any

from wtforms import FieldList, Form

from pitapp.web.forms.fields import NumberField


class CellsField(FieldList):
    """One number a cell; `data` is a tuple of those that were typed, in `scale` of what is shown.

    Either every cell is typed or none: a gap is an error at the field.
    """

    def __init__(self, label: str, *, unit: str, scale: float = 1.0, **options: Any) -> None:
        super().__init__(NumberField(unit=unit), label, **options)
        self.unit_symbol = unit
        self.scale = scale

    def ask_for(self, cells: int) -> None:
        """Show one entry for each of the pack's cells."""
        while len(self.entries) > cells:
            self.entries.pop()
        while len(self.entries) < cells:
            self.append_entry()
        for number, entry in enumerate(self.entries, 1):
            entry.label.text = f"{self.label.text}, cell {number}"

    @property
    def values(self) -> tuple[float, ...]:
        """What was typed, in the model's unit."""
        return tuple(entry.data / self.scale for entry in self.entries if entry.data is not None)

    def validate(self, form: Form, extra_validators: Any = ()) -> bool:
        """Each entry by itself, and no gap between them."""
        super().validate(form, extra_validators)
        sentences = [sentence for entry in self.entries for sentence in entry.errors]
        if not sentences and 0 < len(self.values) < len(self.entries):
            sentences = ["Write every cell, or none."]
        self.errors = list(dict.fromkeys(sentences))
        return not self.errors

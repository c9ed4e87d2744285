"""What every section of a job or shop file has in common."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, ValidationInfo
from pydantic_core import core_schema

from .fields import Fault, Trouble, setting_of, shown, unit_hint
from .units import show_length, thickness_mm

__all__ = ["THICKEST_MM", "THINNEST_MM", "Section", "Thickness", "alloy_name"]

#: A sheet that a tank is made of, mm. Common practice, no source; past it the unit is probably wrong.
THINNEST_MM, THICKEST_MM = 0.4, 6.5


class Section(BaseModel):
    """A section: unknown keys and numbers that are not finite are mistakes, values never change."""

    model_config = ConfigDict(
        extra="forbid", allow_inf_nan=False, frozen=True, arbitrary_types_allowed=True, populate_by_name=False
    )


def alloy_name(value: str) -> str:
    """The name of a metal in the table; Trouble with those that are."""
    from panels.metal import METALS, lookup_metal

    try:
        return lookup_metal(value).name
    except LookupError as fault:
        near = getattr(fault, "suggestions", ())
        hint = f"did you mean {' or '.join(near)}?" if near else "write alloy and temper together, as listed"
        known = ", ".join(metal.name for metal in METALS)
        raise Trouble(Fault("this metal is not in the table", shown(value), known, hint)) from fault


@dataclass(frozen=True)
class Thickness:
    """A sheet's thickness, mm, from a length or a gauge of the metal named by the field ``alloy_field``, else of the
    job's own."""

    alloy_field: str
    low: float
    high: float

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> Any:
        return core_schema.with_info_plain_validator_function(self._read)

    def _read(self, value: object, info: ValidationInfo) -> float | None:
        from panels.metal import lookup_metal

        setting = setting_of(info)
        alloy = info.data.get(self.alloy_field) or setting.metal
        try:
            mm = thickness_mm(value, setting.unit, lookup_metal(alloy).gauge_system if alloy else None)
        except ValueError as fault:
            allowed = 'a length or a gauge: 1.6, "0.063 in", "18 ga"'
            raise Trouble(Fault("this is not a thickness", shown(value), allowed, str(fault))) from fault
        if not self.low <= mm <= self.high and setting.sure:
            found = f"{shown(value)}, which is {show_length(mm, places=2)}"
            hint = unit_hint(mm, setting.unit, self.low, self.high) or "measure the sheet with a micrometer"
            allowed = f"{self.low:g} to {self.high:g} mm"
            raise Trouble(Fault("no tank is made of sheet like this", found, allowed, hint))
        return mm

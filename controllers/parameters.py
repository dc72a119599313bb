"""What may be set on a layer, in which unit and range, and is a given value allowed?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from functools import cached_property
from types import SimpleNamespace
from typing import Any, ClassVar

from controllers.signals import number
from sim.errors import InputError, closest


def parameter(default: float, unit: str, low: float, high: float, meaning: str) -> Any:
    """Declare one parameter of a layer as a dataclass field.

    Parameters
    ----------
    default : float [unit]
        Value if the scenario names none.
    unit : str
        The unit of the value in the file; the field's name ends with it (``margin_m``).
    low, high : float [unit]
        Smallest and largest allowed value, both included.
    meaning : str
        One line for the table that ``wideberth list`` prints.
    """
    return field(default=default, metadata={"unit": unit, "low": low, "high": high, "meaning": meaning})


def written(default: str, meaning: str) -> Any:
    """Declare a parameter that is text, which the layer itself reads and checks, as a dataclass field.

    Parameters
    ----------
    default : str
        Text if the scenario names none.
    meaning : str
        One line for the table, units and allowed values included.
    """
    return field(default=default, metadata={"text": True, "meaning": meaning})


@dataclass(frozen=True)
class Parameters:
    """Base of our layers: a frozen dataclass whose fields are checked when it is made.

    Raises
    ------
    InputError
        If a value is no number, not finite, or outside its declared range.
    """

    name: ClassVar[str] = ""
    needs: ClassVar[tuple[str, ...]] = ()
    tower_pass: ClassVar[bool] = False
    power: ClassVar[bool] = False

    def __post_init__(self) -> None:
        problems = [
            problem
            for f in fields(self)
            if "unit" in f.metadata
            for problem in _problems(self.name, f, getattr(self, f.name))
        ]
        if problems:
            raise InputError(problems)

    @cached_property
    def si(self) -> SimpleNamespace:
        """Every number in SI units, by its name without the unit: ``margin_m`` is ``si.margin``.

        Degrees become radians; each is an array without axes (``signals.number``).
        """
        declared = [(f.name, f.metadata["unit"]) for f in fields(self) if "unit" in f.metadata]
        return SimpleNamespace(**{
            name.removesuffix("_" + unit.replace("/", "_")): number(
                math.radians(getattr(self, name)) if unit == "deg" else getattr(self, name)
            )
            for name, unit in declared
        })  # fmt: skip


def _problems(layer: str, declared: Field[Any], value: Any) -> list[str]:
    low, high = declared.metadata["low"], declared.metadata["high"]
    unit = "" if declared.metadata["unit"] == "-" else f" {declared.metadata['unit']}"
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if number and math.isfinite(value) and low <= value <= high:
        return []
    return [f"layer {layer}: {declared.name} = {value!r}; must be a number from {low:g} to {high:g}{unit}"]


@dataclass(frozen=True)
class Described:
    """One line of a layer's parameter table."""

    layer: str
    name: str
    default: float
    unit: str
    low: float
    high: float
    meaning: str


def describe(layer_class: type) -> list[Described]:
    """List the declared numbers of a layer class; empty for a class that declares none."""
    declared = getattr(layer_class, "__dataclass_fields__", {}).values()
    return [
        Described(
            getattr(layer_class, "name", "") or layer_class.__name__,
            f.name,
            f.default,
            *(f.metadata[key] for key in ("unit", "low", "high", "meaning")),
        )
        for f in declared
        if "unit" in f.metadata
    ]


def describe_texts(layer_class: type) -> list[tuple[str, str, str]]:
    """List the declared texts of a layer class: name, default, meaning."""
    declared = getattr(layer_class, "__dataclass_fields__", {}).values()
    return [(f.name, f.default, f.metadata["meaning"]) for f in declared if "text" in f.metadata]


def build(layer_class: type, parameters: Mapping[str, Any]) -> Any:
    """Make a layer from its class and the parameters that a scenario names.

    Raises
    ------
    InputError
        If a parameter is unknown (with the nearest names), its value is refused, or the class raises.
    """
    label = getattr(layer_class, "name", "") or layer_class.__name__
    declared = getattr(layer_class, "__dataclass_fields__", None)
    if declared is not None:
        problems = [
            f"layer {label}: unknown parameter '{key}'{closest(key, declared) or '; it has none'}"
            for key in parameters
            if key not in declared
        ]
        if problems:
            raise InputError(problems)
    try:
        return layer_class(**parameters)
    except InputError:
        raise
    except (Exception, SystemExit) as error:
        said = f"{'' if isinstance(error, TypeError) else f'{type(error).__name__}: '}{error}"
        raise InputError(f"layer {label}: cannot be made from {dict(parameters)!r}: {said}") from error

"""Frozen declarations to plain JSON values and back, so that a master can carry what its geometries meant."""

from dataclasses import MISSING, fields, is_dataclass
from fractions import Fraction
from typing import Any


def to_plain(value: Any) -> Any:
    """A frozen dataclass of numbers, texts, bytes, fractions and tuples as JSON values. Fields at their default are left out."""
    if is_dataclass(value) and not isinstance(value, type):
        kept = {field.name: getattr(value, field.name) for field in fields(value)}
        kept = {name: each for name, each in kept.items() if each != _default(value, name)}
        return {"is": type(value).__name__} | {name: to_plain(each) for name, each in kept.items()}
    if isinstance(value, bytes):
        return {"hex": value.hex().upper()}
    if isinstance(value, Fraction):
        return {"ratio": [value.numerator, value.denominator]}
    if isinstance(value, (tuple, list)):
        return [to_plain(each) for each in value]
    return value


def _default(value: Any, name: str) -> Any:
    return next((field.default for field in fields(value) if field.name == name), MISSING)


def from_plain(value: Any, classes: dict[str, type]) -> Any:
    """The value of a plain form, made of the dataclasses in `classes`. KeyError or TypeError when it names another class or field."""
    if isinstance(value, list):
        return tuple(from_plain(each, classes) for each in value)
    if not isinstance(value, dict):
        return value
    if "hex" in value:
        return bytes.fromhex(value["hex"])
    if "ratio" in value:
        return Fraction(*value["ratio"])
    return classes[value["is"]](**{name: from_plain(each, classes) for name, each in value.items() if name != "is"})

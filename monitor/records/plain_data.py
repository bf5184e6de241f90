"""Records as data that any JSON reader takes, and back."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

_Record = TypeVar("_Record")


def plain(value: Any) -> Any:
    """Return ``value`` as data that any JSON reader takes: NumPy scalars unwrapped, NaN and infinities as None."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"A {type(value).__name__} cannot be stored; give numbers, text, lists and dictionaries.")


def record_of(kind: type[_Record], data: Mapping[str, Any]) -> _Record:
    """Rebuild a record from ``dataclasses.asdict`` of it, also from JSON: parts as records, rows of a list as tuples.

    Unknown keys, those of a newer version, are ignored; a missing key takes the field's default.

    Raises
    ------
    TypeError
        It is no mapping, or lacks a key that has no default.
    """
    if not isinstance(data, Mapping):
        raise TypeError(f"A {kind.__name__} is built from a mapping, not from a {type(data).__name__}.")
    builders = _builders(kind)  # type: ignore[arg-type]
    known = ((name, value, builders[name]) for name, value in data.items() if name in builders)
    return kind(**{name: value if build is None else build(value) for name, value, build in known})


@functools.cache
def _builders(kind: type[Any]) -> dict[str, Callable[[Any], Any] | None]:
    hints = get_type_hints(kind)
    return {field.name: _builder(hints[field.name]) for field in dataclasses.fields(kind)}


def _builder(hint: Any) -> Callable[[Any], Any] | None:
    """Return what turns plain data into a value of a type, None where it is one already."""
    part = part_type(hint)
    if get_origin(hint) is list:
        (of,) = get_args(hint)
        if part is not None:
            return lambda values: [record_of(part, value) for value in values]
        return (lambda rows: [tuple(row) for row in rows]) if get_origin(of) is tuple else None
    if part is not None:
        return lambda value: None if value is None else record_of(part, value)
    return None


def part_type(hint: Any) -> type[Any] | None:
    """Return the record type in ``Part``, ``Part | None`` or ``list[Part]``, None where there is none."""
    kinds = (hint, *get_args(hint))
    return next((kind for kind in kinds if isinstance(kind, type) and dataclasses.is_dataclass(kind)), None)

"""Records as answers of the REST interface: their own fields, instants in milliseconds."""

from __future__ import annotations

import dataclasses
import functools
from dataclasses import dataclass
from typing import Any, get_type_hints

from pydantic import BaseModel, GetCoreSchemaHandler, create_model
from pydantic_core import CoreSchema, core_schema

NS_PER_MS = 1_000_000
_NS, _MS = "_utc_ns", "_utc_ms"


@dataclass(frozen=True, slots=True)
class Answer:
    """Makes a record an answer: ``Annotated[Person, Answer()]``.

    Fields that end with ``_utc_ns`` become whole milliseconds and end with ``_utc_ms``: a browser's numbers do not hold
    today's nanoseconds.

    Attributes
    ----------
    without : tuple of str
        Fields to leave out.
    also : tuple of str
        Properties (text) to include.
    """

    without: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    def __get_pydantic_core_schema__(self, record: type[Any], handler: GetCoreSchemaHandler) -> CoreSchema:
        """Validate a record into a model of its fields, which pydantic writes and describes."""
        model = handler.generate_schema(_model_of(record, self.without, self.also))  # type: ignore[arg-type]
        return core_schema.no_info_before_validator_function(self._as_answer, model)

    def _as_answer(self, record: Any) -> dict[str, Any]:
        return answer_of(record, self.without, self.also)


def answer_of(record: Any, without: tuple[str, ...] = (), also: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return a record's fields by the names that an answer has; arguments as in ``Answer``."""
    names = [field.name for field in dataclasses.fields(record) if field.name not in without]
    return {_answer_name(name): _answer_value(name, getattr(record, name)) for name in (*names, *also)}


def _answer_name(name: str) -> str:
    return f"{name.removesuffix(_NS)}{_MS}" if name.endswith(_NS) else name


def _answer_value(name: str, value: Any) -> Any:
    return value // NS_PER_MS if name.endswith(_NS) and value is not None else value


@functools.cache
def _model_of(record: type[Any], without: tuple[str, ...], also: tuple[str, ...]) -> type[BaseModel]:
    hints = get_type_hints(record)
    kinds: dict[str, Any] = {f.name: hints[f.name] for f in dataclasses.fields(record) if f.name not in without}
    kinds |= dict.fromkeys(also, str)
    fields: dict[str, Any] = {_answer_name(name): (kind, ...) for name, kind in kinds.items()}
    return create_model(record.__name__, __doc__=(record.__doc__ or "").partition("\n")[0], **fields)

"""The base of every table of a case: immutable, strict about its keys, and able to read on past a mistake.

pydantic reports all mistakes of single values in one pass. Checks between values need the values that were right:
`Part` can therefore be validated a second time with the context {"lenient": True}, where a wrong or missing value
becomes `UNKNOWN` and unknown keys are dropped.
"""

from __future__ import annotations

from typing import Annotated, Any, Union

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError, core_schema

from waveflow.engine.fields import UNKNOWN, refuse
from waveflow.engine.tables import split_series

MOST_ROWS = 5000


def key_of(name: str, info: Any) -> str:
    """Name of a field as it stands in the file (`lambda_` is `lambda` there)."""
    return info.alias or name


class Part(BaseModel):
    """One table of a case."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, protected_namespaces=(), defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _drop_what_is_wrong(cls, data: Any, info: core_schema.ValidationInfo) -> Any:
        if not (info.context or {}).get("lenient") or not isinstance(data, dict):
            return data
        kept = {}
        for name, field in cls.model_fields.items():
            key = key_of(name, field)
            if key in data:
                kept[key] = data[key]
            elif field.is_required():
                kept[key] = UNKNOWN
        return kept

    @field_validator("*", mode="wrap", check_fields=False)
    @classmethod
    def _note_unknown(cls, value: Any, handler: Any, info: core_schema.ValidationInfo) -> Any:
        if not (info.context or {}).get("lenient"):
            return handler(value)
        if value is UNKNOWN:
            return UNKNOWN
        try:
            return handler(value)
        except (ValidationError, PydanticCustomError):
            return UNKNOWN


def _as_series(value: Any) -> Any:
    if isinstance(value, str):
        return tuple(split_series(value))
    if isinstance(value, (list, tuple)):
        return tuple(value)
    raise refuse('not a list, nor a text such as "1, 2, 3 mm"')


def series(kind: Any, shortest: int = 2) -> Any:
    """Type of a column of values of one kind: a list, or one text with the unit at its end."""
    return Annotated[
        tuple[Annotated[Any, kind], ...],
        Field(min_length=shortest, max_length=MOST_ROWS),
        BeforeValidator(_as_series),
    ]


def _kind_given(data: Any) -> Any:
    kind = data.get("kind") if isinstance(data, dict) else getattr(data, "kind", None)
    return kind if isinstance(kind, str) else None


def one_of(*models: type[Part]) -> Any:
    """Type of a table whose key `kind` says which of `models` it is."""
    kinds = [model.model_fields["kind"].annotation.__args__[0] for model in models]
    tagged = tuple(Annotated[model, Tag(kind)] for model, kind in zip(models, kinds, strict=True))
    return Annotated[Union[tagged], Discriminator(_kind_given)]  # noqa: UP007 - built at run time

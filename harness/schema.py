"""The form of `result.json`, for whoever reads one: checked on reading, and published as JSON Schema."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from harness.claims.record import ClaimsRecord
from harness.rows import VERSION, Finding, PerSubject, Row

__all__ = ["ResultFile", "checked", "result_schema"]


class ResultFile(BaseModel):
    """A whole result; unknown parts are refused, so that a newer file is not half understood."""

    model_config = ConfigDict(extra="forbid", strict=True, title="keyassay result")

    version: Literal[1]
    settings: dict[str, Any]
    corpus: dict[str, Any]
    schemes: list[dict[str, Any]]
    attacks: list[dict[str, Any]]
    versions: dict[str, str]
    table: list[Row]
    per_subject: list[PerSubject]
    findings: list[Finding]
    claims: ClaimsRecord | None = None


def checked(text: str) -> ResultFile:
    """Parse the text of a `result.json`.

    Raises
    ------
    ValueError
        One sentence: what was found, and where.
    """
    try:
        return ResultFile.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        got = repr(first["input"])[:60]
        raise ValueError(
            f"a result of version {VERSION} must be whole, got {got} at {place}: {first['msg'].lower()}"
        ) from None


def result_schema() -> dict[str, Any]:
    """JSON Schema of `result.json`; the package holds it as `result.schema.json`."""
    return ResultFile.model_json_schema()

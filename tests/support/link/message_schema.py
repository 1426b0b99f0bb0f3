"""The message table as JSON Schema, for a validator that is not ours."""

from __future__ import annotations

from typing import Any

from gen.link.messages import METHODS, ErrorObject
from gen.words import LARGEST_ID


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of each line: {method: {"request": ..., "reply": ...}}, and of an error reply."""
    schemas: dict[str, Any] = {}
    for name, method in METHODS.items():
        params = method.params.model_json_schema(by_alias=True)
        request = _envelope({"method": {"const": name}, "params": params}, least_id=1)
        if isinstance(params, dict) and not params.get("required"):
            request["required"].remove("params")
        schemas[name] = {
            "request": _embedded(request, params),
            "reply": _embedded(_envelope({"result": (result := method.result.model_json_schema())}, 1), result),
        }
    error = ErrorObject.model_json_schema()
    schemas["error"] = {"reply": _envelope({"error": error}, least_id=0)}
    return schemas


def _envelope(properties: dict[str, Any], least_id: int) -> dict[str, Any]:
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "type": "object",
        "properties": {
            "jsonrpc": {"const": "2.0"},
            "id": {"type": "integer", "minimum": least_id, "maximum": LARGEST_ID},
            **properties,
        },
        "required": ["jsonrpc", "id", *properties],
        "additionalProperties": False,
    }


def _embedded(schema: dict[str, Any], inner: dict[str, Any]) -> dict[str, Any]:
    """Definitions must stand at the top for their references to be found."""
    if "$defs" in inner:
        schema["$defs"] = inner.pop("$defs")
    return schema

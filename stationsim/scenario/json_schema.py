"""The JSON Schema of a scenario, for editors that complete and check TOML."""

from __future__ import annotations

from typing import Any

from stationsim.control.contract import CONTROLLERS, ROTATIONS
from stationsim.scenario.keys import table_class
from stationsim.scenario.schema import Scenario


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario, with the settings of the built-in controllers."""
    schema = Scenario.model_json_schema(by_alias=True)
    definitions = schema["$defs"]
    plug_in = {
        "type": "object",
        "properties": {"kind": {"type": "string", "pattern": r"^[\w.]+:\w+$"}},
        "required": ["kind"],
        "description": "A plug-in as package.module:Class; its settings are its own.",
    }
    for part, built_in in (("control", CONTROLLERS), ("rotation", ROTATIONS)):
        references = []
        for kind in built_in:
            model = table_class(part, kind)
            name = model.__name__
            definitions[name] = model.model_json_schema(by_alias=True)
            definitions[name]["required"] = sorted({*definitions[name].get("required", []), "kind"})
            references.append({"$ref": f"#/$defs/{name}"})
        description = schema["properties"][part]["description"]
        schema["properties"][part] = {
            "anyOf": [*references, plug_in],
            "description": description,
        }
    cleaned: dict[str, Any] = _without_null(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **cleaned,
        "title": "stationsim scenario",
    }


def _without_null(node: Any) -> Any:
    """Take out what TOML cannot say: there is no null in it."""
    if isinstance(node, list):
        return [_without_null(one) for one in node]
    if not isinstance(node, dict):
        return node
    cleaned = {
        key: _without_null(one)
        for key, one in node.items()
        if not (key == "default" and (one is None or node.get("x-quantity")))
    }
    options = cleaned.get("anyOf")
    if isinstance(options, list):
        options = [one for one in options if one != {"type": "null"}]
        if len(options) == 1:
            del cleaned["anyOf"]
            cleaned = {**options[0], **cleaned}
        else:
            cleaned["anyOf"] = options
    if "x-quantity" in cleaned:
        # the models hold defaults in SI; in a file they would be text with a unit
        cleaned.pop("default", None)
    return cleaned

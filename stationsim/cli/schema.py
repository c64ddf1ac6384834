"""``stationsim schema``: the JSON Schema of a scenario."""

from __future__ import annotations

import json

import click


@click.command()
def schema() -> None:
    """Print the JSON Schema of a scenario file, for editors that complete and check TOML.

    \b
    Example:
        stationsim schema > scenario.schema.json
    """  # noqa: D301 - \b is click's mark
    from stationsim.scenario.json_schema import json_schema

    click.echo(json.dumps(json_schema(), indent=2, ensure_ascii=False))

"""wavesim schema: the JSON Schema of scene files."""

from __future__ import annotations

import json
from pathlib import Path

import click

from wavesim.cli.options import Output, examples, json_option


@click.command(epilog=examples("wavesim schema -o scene.schema.json"))
@click.option("-o", "output", type=Output(".json"), help="File to write instead of printing.")
@json_option
def command(output: Path | None, as_json: bool) -> None:  # noqa: ARG001  (it is JSON anyway)
    """Print the JSON Schema of scene files.

    It lists every key with its meaning. Editors use it to complete scene files and to mark wrong
    keys while you type, if the first line of the scene is #:schema scene.schema.json
    """
    from wavesim.files import replacing
    from wavesim.scene import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if output is None:
        click.echo(text, nl=False)
        return
    with replacing(output) as temporary:
        temporary.write_text(text, encoding="utf-8")

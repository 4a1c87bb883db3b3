"""wavesim schema: the JSON Schema of scene files."""

from __future__ import annotations

import json
from pathlib import Path

import click

from wavesim.cli.common import check_ending, check_output, json_option


@click.command(
    epilog="Example: wavesim schema -o wavesim.schema.json, then in the scene's first line "
    "#:schema wavesim.schema.json"
)
@click.option("-o", "output", metavar="FILE", type=click.Path(path_type=Path), help="Write here.")
@json_option
def command(output: Path | None, as_json: bool) -> None:  # noqa: ARG001  (it is JSON anyway)
    """Print the JSON Schema of scene files.

    Editors that know it complete scene files and mark wrong keys while they are written.
    """
    from wavesim.files import replacing
    from wavesim.scene import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if output is None:
        click.echo(text, nl=False)
        return
    check_ending(output, (".json",))
    check_output(output)
    with replacing(output) as temporary:
        temporary.write_text(text, encoding="utf-8")

"""wavesim live: the bench in a browser."""

from __future__ import annotations

import click

from wavesim.cli.common import echo_json, scene_named
from wavesim.cli.options import Whole, examples, json_option


@click.command(
    epilog=examples("wavesim live scenes/slits_005.toml", "wavesim live --port 8700 --no-browser")
)
@click.argument("scene_file", metavar="[SCENE]", required=False)
@click.option(
    "--port", type=Whole(0, 65_535), metavar="N", default=None,
    help="Port of the address; default 8642, or a free one if that is taken.",
)  # fmt: skip
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option(
    "--share", is_flag=True,
    help="Let others on this network watch: opens this machine's port to them, protected by a key.",
)  # fmt: skip
@json_option
def command(
    scene_file: str | None, port: int | None, no_browser: bool, share: bool, as_json: bool
) -> None:
    """Show the bench of SCENE in a browser, to be adjusted by hand.

    Sliders and fields for every value of the scene; the plate and its profile follow. Only this
    machine can open the page, unless --share lets others watch. Ctrl-C ends it. Needs the extra
    "live" (pip install "wavesim[live]").
    """
    from wavesim.extras import require

    require(
        "the live bench", "starlette", "uvicorn", "websockets", "segno", "tomlkit", extra="live"
    )
    from wavesim.live.starting import open_bench, served, start_scene

    scene = scene_named(scene_file) if scene_file is not None else start_scene()
    bench = open_bench(scene, scene_file, port=port, share=share)
    if as_json:
        echo_json(bench.record())
    else:
        click.echo(bench.text())
    served(bench, browser=not no_browser)

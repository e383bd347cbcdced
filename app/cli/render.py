"""`brightbowl render`: tray shots of the invented spoons, with exact truth beside the frames."""

from pathlib import Path

import click


@click.command()
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder to write to.")
@click.option("--part", type=click.Choice(["TS-135", "DS-182"]), default="TS-135", show_default=True)
@click.option("--trays", type=click.IntRange(min=1), default=1, show_default=True, help="How many tray shots.")
@click.option("--seed", type=click.IntRange(min=0), default=2611, show_default=True, help="Same seed, same trays.")
@click.option(
    "--family",
    type=click.Choice(["plain", "noisy", "lens", "height", "crowd", "punched", "deep16", "faces"]),
    default="plain",
    show_default=True,
    help="What makes the trays hard.",
)
@click.option("--format", "ending", type=click.Choice(["png", "tif"]), default="png", show_default=True)
def command(out: Path, part: str, trays: int, seed: int, family: str, ending: str) -> None:
    """Render tray shots with exact truth.

    Writes part.toml, outline.dxf, station.toml and limits.toml to the folder, and one folder a tray with its frames,
    shot.json and truth.json (poses, measures and findings as they really are).
    """
    from synthetic_images import FAMILIES, PATTERNS, Order, render_shots
    from vision.errors import Unusable

    pattern = PATTERNS[part]
    if family == "punched" and not pattern.holes:
        raise Unusable("--family punched", "--part", "a part with a punched hole: say --part DS-182", part)
    kind = next(name for name in FAMILIES if name == family)
    try:
        for shot in render_shots(out, Order(kind, pattern, trays, seed, ending)):
            click.echo(f"rendered {shot}")
    except OSError as fault:
        raise Unusable(out, "", "a folder that can be written, with space for the frames", str(fault)) from fault
    click.echo(f"{trays} tray(s) of {part}, family {family}, with part.toml, station.toml and limits.toml in {out}")

"""`brightbowl hand-over`: verdicts to the line, over MQTT."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from vision.errors import Unusable


@click.command()
@click.option(
    "--works",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Works folder whose store holds the verdicts.",
)
@click.option("--store", metavar="URL", help="The store itself: a file of SQLite, or postgresql://...")
@click.option("--broker", required=True, metavar="URL", help="mqtt://HOST:PORT or mqtts://HOST:PORT.")
@click.option("--ca", type=click.Path(path_type=Path, dir_okay=False), help="Certificates to trust, for mqtts.")
@click.option("--once", is_flag=True, help="Send what is filed and end; without it, go on until stopped.")
def command(works: Path | None, store: str | None, broker: str, ca: Path | None, once: bool) -> None:
    """Hand verdicts to the line as trays are filed, by an MQTT 5 broker.

    Runs beside `watch`, or by itself. A name and a password for the broker are read from BRIGHTBOWL_MQTT_USER and
    BRIGHTBOWL_MQTT_PASSWORD.
    """
    from app.works import open_chosen

    try:
        import paho.mqtt  # noqa: F401
    except ModuleNotFoundError:
        raise Unusable("hand-over", "", "the library for MQTT: pip install brightbowl[line]", "no paho-mqtt") from None
    from app.run import ended_by_signals, hand_over, read_broker

    where = read_broker(broker, ca)
    with ended_by_signals(True, raising=False) as stop, closing(open_chosen(works, store)[0]) as opened:
        sent = hand_over(opened, where, stop, once, lambda words: click.echo(words, err=True))
    click.echo(f"{sent} messages sent to {where}")

"""`brightbowl serve`: the pages of a works, on this machine."""

from contextlib import closing
from importlib.util import find_spec
from pathlib import Path

import click

from vision.errors import Unusable

PORT = 8610


@click.command()
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="Works folder, with its store.")
@click.option("--store", metavar="URL", help="A store alone: a file of SQLite or postgresql://user@host/name.")
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True)
@click.option("--address", default="127.0.0.1", show_default=True, help="Where to listen; another wants TLS in front.")
def command(works: Path | None, store: str | None, port: int, address: str) -> None:
    """Serve the review page until stopped (Ctrl+C).

    People pick their names from works.toml. Where the works folder holds a login.toml (table [auth], OpenID Connect)
    they sign in instead.
    """
    if find_spec("streamlit") is None:
        raise Unusable("serve", "", "the libraries of the pages: pip install brightbowl[pages]", "no streamlit")
    from app.pages import ServerState, lasting_secret, serve
    from app.works import open_chosen, rights_words

    opened, folder = open_chosen(works, store)
    login = None if folder is None else folder.folder / "login.toml"
    if login is not None and not login.is_file():
        login = None
    for line in () if folder is None else rights_words(folder):
        click.echo(f"brightbowl: {line}", err=True)
    click.echo(f"{folder.name if folder else opened.url}: http://{address}:{port} (stop with Ctrl+C)")
    server = ServerState(opened, None)
    if folder is not None:
        server = ServerState(opened, folder, login is not None, lasting_secret(folder.folder))
    with closing(opened):
        serve(server, port, address, login)

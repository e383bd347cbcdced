"""`brightbowl verify`: whether what was filed still stands as it was filed."""

from __future__ import annotations

import json
import re
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.store import Head

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_HEAD = re.compile(r"(\d+):([0-9a-f]{64})")


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), help="Works folder, with its store."
)
@click.option("--store", "address", metavar="URL", help="A store alone: a file of SQLite or postgresql://...")
@click.option("--head", "known", help="A head printed before, NUMBER:HASH, or a file that --out wrote.")
@click.option("--public", type=_FILE, help="The works' public key (PEM): the head's signature must hold too.")
@click.option("--no-files", is_flag=True, help="Walk the store only, not the files on disk.")
@click.option("--sign", "key", type=_FILE, help="Sign the head with this private key (PEM, Ed25519), kept elsewhere.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write the head here, signed with --sign.")
def command(
    works: Path | None,
    address: str | None,
    known: str | None,
    public: Path | None,
    no_files: bool,
    key: Path | None,
    out: Path | None,
) -> None:
    """Walk the chain over all that was filed, and the files by their digests.

    The exit code is 1 where a link does not hold; the first one is named. A chain that was written anew as a whole, or
    cut at its end, can be told only against a head that was printed or signed before: give it with --head.
    """
    from app.store import key_file, note_walked, signed, verify
    from app.works import open_chosen, rights_words
    from vision.formats import write_atomic

    opened, place = open_chosen(works, address, walk=False)
    folder = None if place is None else place.folder
    signing = key_file(folder, key)
    before = None if known is None else _read_head(known, public)
    if before is None and public is not None:
        raise click.UsageError("--public goes with --head.")
    for line in () if place is None else rights_words(place):
        click.echo(f"brightbowl: {line}", err=True)
    with closing(opened) as store:
        # A store alone keeps whole paths, so that any root will do.
        found = verify(store, None if no_files else folder or Path.cwd(), before)
        if not found.broken:
            note_walked(store)
    named = works or opened.url
    for broken in found.broken[:1]:
        where = f"link {broken.link}" if broken.link is not None else "what stands now"
        click.echo(f"brightbowl: {named}: {where}: {broken.what}", err=True)
    if len(found.broken) > 1:
        click.echo(f"brightbowl: {named}: {len(found.broken) - 1} more do not hold", err=True)
    if found.broken:
        sys.exit(1)
    let_go = f", {found.forgotten} forgotten by rule" if found.forgotten else ""
    click.echo(f"{found.head.links} links hold, {found.files} files hold{let_go}; head {found.head}")
    if out is not None:
        signature = None if signing is None else signed(str(found.head), signing)
        write_atomic(out, json.dumps({"format": 1, "head": str(found.head), "signature": signature}) + "\n")
        click.echo(f"written: {out}{'' if signature is None else ', signed'}")


def _read_head(told: str, public: Path | None) -> Head:
    """A head by its words or from a file; its signature holds where a key is given."""
    from app.store import Head, check_signature

    words, signature = told, None
    if not _HEAD.fullmatch(told):
        try:
            table = json.loads(Path(told).read_text("utf-8"))
            words, signature = str(table["head"]), table.get("signature")
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            raise Unusable("--head", "", "NUMBER:HASH as a report prints it, or a file of --out", told) from None
    found = _HEAD.fullmatch(words)
    if found is None:
        raise Unusable("--head", "", "NUMBER:HASH as a report prints it, or a file of --out", words)
    if public is not None:
        if signature is None:
            raise Unusable("--head", "signature", "a signed head; sign with --sign KEY --out FILE", told)
        check_signature(words, signature, public)
    return Head(int(found[1]), found[2])

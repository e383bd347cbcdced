"""A head signed with a key of the works: Ed25519 (RFC 8032), keys as PEM. The key is never kept by the program."""

import base64
import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from vision.errors import Unusable

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

KEY_VARIABLE = "BRIGHTBOWL_SIGNING_KEY"
"""Names the file with the works' private key, which lies outside the works folder."""


def key_file(works: Path | None, given: Path | None = None) -> Path | None:
    """The works' key where it has one; `works`: its folder, None for a store alone.

    Parameters
    ----------
    works
        The works folder.
    given
        A file that was named; none: the one that the environment names.

    Returns
    -------
    Path | None
        The file; none where the works has no key.

    Raises
    ------
    Unusable
        The key lies in the works folder, where whoever may change that could sign too.
    """
    named = os.environ.get(KEY_VARIABLE)
    file = given if given is not None else Path(named) if named else None
    if works is not None and file is not None and file.resolve().is_relative_to(works.resolve()):
        raise Unusable(file, "", "a key outside the works folder, where only those may read it who sign")
    return file


def signed(head: str, file: Path) -> str:
    """The signature of a head, base64.

    Parameters
    ----------
    head
        The chain's head, as text.
    file
        Of the private key.

    Returns
    -------
    str
        Base64 of an Ed25519 signature.

    Raises
    ------
    Unusable
        The file holds no private key of Ed25519, or the library for it is missing.
    """
    return base64.b64encode(_private(file).sign(head.encode())).decode("ascii")


def check_signature(head: str, signature: str, public: Path) -> None:
    """Hold a signature against a public key.

    Parameters
    ----------
    head
        The chain's head, as text.
    signature
        Base64.
    public
        File of the public key.

    Raises
    ------
    Unusable
        It does not hold, or the file holds no public key of Ed25519.
    """
    from cryptography.exceptions import InvalidSignature

    key = _public(public)
    try:
        key.verify(base64.b64decode(signature, validate=True), head.encode())
    except (InvalidSignature, ValueError):
        raise Unusable(public, "", "a head that this key has signed; the signature does not hold", head) from None


def _private(file: Path) -> "Ed25519PrivateKey":
    try:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        from cryptography.hazmat.primitives.serialization import load_pem_private_key
    except ModuleNotFoundError:
        raise Unusable(
            file, "", "the library for signatures: pip install brightbowl[seal]", "no cryptography"
        ) from None
    key = None
    with suppress(OSError, ValueError, TypeError):
        key = load_pem_private_key(file.read_bytes(), password=None)
    if not isinstance(key, Ed25519PrivateKey):
        raise Unusable(file, "", "a private key of Ed25519 without a password (openssl genpkey -algorithm ed25519)")
    return key


def _public(file: Path) -> "Ed25519PublicKey":
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    key = None
    with suppress(OSError, ValueError):
        key = load_pem_public_key(file.read_bytes())
    if not isinstance(key, Ed25519PublicKey):
        raise Unusable(file, "", "a public key of Ed25519 (openssl pkey -in KEY -pubout)")
    return key

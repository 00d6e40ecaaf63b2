"""How a scheme says that it makes its key of its secret, and what a bound on that is worth."""

from __future__ import annotations

from typing import Any

__all__ = ["UNIVERSAL", "extraction_kind", "worth"]

UNIVERSAL = frozenset({"toeplitz"})
"""Kinds that are universal hashing, of which the leftover hash lemma speaks."""
_HASH_BITS = 256  # output of SHA-256, which HKDF draws a key of any length from


def extraction_kind(scheme: Any) -> str | None:
    """The kind of extraction that a scheme states; None if it states none.

    Parameters
    ----------
    scheme : Scheme
        An optional attribute `extraction` is the kind as a word, or an object whose attribute `kind` is.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> extraction_kind(SimpleNamespace(extraction="hkdf")), extraction_kind(SimpleNamespace())
    ('hkdf', None)
    """
    stated = getattr(scheme, "extraction", None)
    kind = stated if isinstance(stated, str) else getattr(stated, "kind", None)
    return kind if isinstance(kind, str) and kind.isprintable() and kind else None


def worth(kind: str | None, key_bits: int) -> str:
    """What the leftover hash lemma says of this kind of extraction, as the end of a sentence.

    Parameters
    ----------
    kind : str or None
        From `extraction_kind`.
    key_bits : int

    Examples
    --------
    >>> worth("toeplitz", 128)
    'universal hashing (toeplitz), as this scheme states'
    """
    if kind in UNIVERSAL:
        return f"universal hashing ({kind}), as this scheme states"
    if kind is None:
        return "for universal hashing only, and this scheme does not state its extraction"
    if kind == "identity":
        return "for universal hashing only; this scheme hashes nothing (identity)"
    if kind == "hkdf":
        capped = f"; a key of {key_bits} bits holds at most the {_HASH_BITS} of its hash"
        return (
            "for universal hashing only; of this scheme's hkdf the security is computational, no leftover "
            f"hash bound holds{capped if key_bits > _HASH_BITS else ''}"
        )
    return f"for universal hashing only, which {kind!r} is not known to be"

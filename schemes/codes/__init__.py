"""Error-correcting codes, by name or by parameters."""

from schemes.codes.bch import bch, bch_dimensions
from schemes.codes.concatenated import Concatenated, concatenated
from schemes.codes.contract import Code
from schemes.codes.names import CODES, code
from schemes.codes.reed_solomon import ReedSolomon, reed_solomon
from schemes.codes.repetition import repetition
from schemes.codes.table import golay23, golay24, hamming

__all__ = [
    "CODES",
    "Code",
    "Concatenated",
    "ReedSolomon",
    "bch",
    "bch_dimensions",
    "code",
    "concatenated",
    "golay23",
    "golay24",
    "hamming",
    "reed_solomon",
    "repetition",
]

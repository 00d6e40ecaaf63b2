"""Interactive reconciliation and key extraction joined: the part of a scheme of several rounds behind
its quantiser."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

import numpy as np

from harness.contracts import ABORTED, Array, Helper, Witness
from schemes.bit_beliefs import bit_odds, with_word
from schemes.extraction import Extraction, Toeplitz, extraction_named
from schemes.parity_completion import fitting_words
from schemes.parity_listener import corrected_by_listening, odds_by_listening
from schemes.parity_rounds import ParityRounds, equations, parities_told
from schemes.quantisers.checks import whole_number

__all__ = ["ParityAgreement", "parity_agreement"]

_CHECK = Toeplitz()  # 2-universal: other bits pass c check bits with probability 2^-c


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ParityAgreement:
    """Two witnesses to two keys and every message.

    The witness bits that are read are the first `reconciliation.bits`. After the parity rounds A tells
    `check_bits` of a public hash of its bits, by which B sees whether the bits are equal now.

    Every parity and every check bit is charged: an attempt in which more than
    bits - key_bits - spare_bits of them were told is aborted. What is left is at least
    key_bits + spare_bits only for a witness of independent, even bits; the harness measures how far a
    witness is from that, so choose `spare_bits` by it, and by 2 log2(1 / ε) - 2 for a Toeplitz hash
    within ε of uniform (leftover hash lemma, the form of Dodis et al. 2008).
    """

    labels: Array  # (alphabet, bits) uint8: symbol -> witness bits
    reconciliation: ParityRounds
    extraction: Extraction
    key_bits: int
    check_bits: int = 32
    spare_bits: int = 0
    doubt: float = 0.08  # wrong bits that a listener reckons with (assumption); see `overhear`

    def __post_init__(self) -> None:
        whole_number("check_bits", self.check_bits, 1)
        whole_number("spare_bits", self.spare_bits, 0)
        least = self.reconciliation.blocks + self.check_bits + self.spare_bits
        most = self.reconciliation.bits - least
        if not isinstance(self.key_bits, Integral) or not 1 <= self.key_bits <= most:
            raise ValueError(
                f"`key_bits` must be 1 to {most}, what {least} parities, check and spare bits leave of "
                f"{self.reconciliation.bits}, got {self.key_bits!r}"
            )

    @property
    def symbols(self) -> int:
        """Witness symbols that are read."""
        bits: int = self.labels.shape[1]
        return -(-self.reconciliation.bits // bits)

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        """Keys of A, of B (zero where not accepted), accepted, and every message.

        Beside the messages of the parity rounds there are "check" (attempts, check_bits) and its
        "check-seed", what the extraction draws, "disclosed" (attempts,): parities and check bits told,
        and "aborted".
        """
        mine = self._bits(a)
        corrected, finished, messages = self.reconciliation.reconcile(mine, self._bits(b), rng=rng)
        attempts, bits = mine.shape
        seed = _CHECK.public(attempts, secret_bits=bits, key_bits=self.check_bits, rng=rng)
        check = _CHECK.key(mine, seed, key_bits=self.check_bits)
        drawn = self.extraction.public(attempts, secret_bits=bits, key_bits=self.key_bits, rng=rng)
        disclosed = parities_told(messages) + self.check_bits
        aborted = ~finished | (disclosed > bits - self.key_bits - self.spare_bits)
        helper = {
            **messages,
            "check-seed": seed["toeplitz-seed"],
            "check": check,
            **drawn,
            "disclosed": disclosed.astype(np.uint32),
            ABORTED: aborted,
        }
        fits = (_CHECK.key(corrected, seed, key_bits=self.check_bits) == check).all(axis=1)
        accepted = a.acquired & b.acquired & ~aborted & fits
        keys = self.extraction.key(mine, helper, key_bits=self.key_bits)
        again = self.extraction.key(corrected, helper, key_bits=self.key_bits)
        return keys, again * accepted[:, None].astype(np.uint8), np.asarray(accepted), helper

    def overhear(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """What somebody gets who only listened: keys, zero where not accepted, and accepted (attempts,).

        Belief propagation over every parity told, accepted by the check bits. This is an attack that can be
        run, not the best there is. Offered by a scheme as its `reproduce`, it lets the harness turn beliefs
        about the witness into keys; honest devices use `agree` all the same.
        """
        bits, _ = corrected_by_listening(self.reconciliation, self._bits(witness), helper, doubt=self.doubt)
        accepted = self._passes(bits, helper)
        keys = self.extraction.key(bits, helper, key_bits=self.key_bits)
        return keys * accepted[:, None].astype(np.uint8), np.asarray(accepted)

    def sharpen(self, log_prob: Array, helper: Helper) -> Array:
        """What beliefs about A's witness become by every parity told and the check bits; see `Sharpening`.

        Belief propagation on the parities; where its likeliest word does not fit all of them and the check
        bits, the likeliest of the words that fit the parities takes its place, by preference one that
        passes the check. That costs some hundred trials, which are made off line and not counted.
        """
        read = self.reconciliation.bits
        before = bit_odds(log_prob[:, : self.symbols], self.labels)[:, :read]
        after, fits = odds_by_listening(self.reconciliation, before, helper)
        word = (after > 0).astype(np.uint8)
        for row in np.flatnonzero(~(fits & self._passes(word, helper))).tolist():
            told = equations(self.reconciliation, helper, row)
            words = fitting_words(*told, before[row], after[row])
            repeated = {
                name: np.broadcast_to(helper[name][row], (len(words), *helper[name].shape[1:]))
                for name in ("check", "check-seed")
            }
            word[row] = words[self._passes(words, repeated).argmax()]  # the first, if none passes
        sharper = np.array(log_prob)
        sharper[:, : self.symbols] = with_word(
            log_prob[:, : self.symbols], self.labels, after - before, word
        )
        return sharper

    def _passes(self, bits: Array, helper: Helper) -> Array:
        """(attempts,) whether bits have A's check bits."""
        seed = {"toeplitz-seed": helper["check-seed"]}
        return np.asarray((_CHECK.key(bits, seed, key_bits=self.check_bits) == helper["check"]).all(axis=1))

    def _bits(self, witness: Witness) -> Array:
        bits = self.labels[witness.symbols[:, : self.symbols]].reshape(len(witness.symbols), -1)
        return np.asarray(bits[:, : self.reconciliation.bits], np.uint8)


def parity_agreement(
    *,
    labels: Array,
    bits: int,
    error_rate: float,
    extraction: str | Extraction,
    key_bits: int,
    rounds: int = 4,
    check_bits: int = 32,
    spare_bits: int = 0,
) -> ParityAgreement:
    """Compose a `ParityAgreement`, its first block fitted to an expected error rate.

    Parameters
    ----------
    labels : uint8, shape (alphabet, bits of a symbol)
        Witness bits of every symbol.
    bits : int
        Witness bits to reconcile, 2 to 65535.
    error_rate : float
        Expected share of bits that differ, above 0 and at most .25; the first block has about .73 / error
        rate bits (Brassard and Salvail, 1993, from memory).
    extraction
        A name or an object.
    key_bits, rounds, check_bits, spare_bits : int
        As in `ParityAgreement` and `ParityRounds`.

    Raises
    ------
    ValueError
        If a name is unknown or a number is out of range.
    """
    if not 0 < error_rate <= 0.25:
        raise ValueError(f"`error_rate` must be above 0 and at most 0.25, got {error_rate:g}")
    whole_number("bits", bits, 2, 65535)
    first = min(max(2, round(0.73 / error_rate)), bits)
    return ParityAgreement(
        labels=labels,
        reconciliation=ParityRounds(bits=bits, first_block=first, rounds=rounds),
        extraction=extraction_named(extraction) if isinstance(extraction, str) else extraction,
        key_bits=key_bits,
        check_bits=check_bits,
        spare_bits=spare_bits,
    )

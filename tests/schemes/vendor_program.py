"""A vendor's scheme as a program: signs of samples, every bit sent five times over.

Run as ``python vendor_program.py STEP IN.npz OUT.npz``. The secret bits are drawn from the seed; what is
published is each of them, five times, XOR the witness; a majority of five gives it back.
"""

from __future__ import annotations

import sys

import numpy as np

BITS, TIMES = 8, 5


def witness(given):
    x = given["samples"][:, 0, : BITS * TIMES]
    whole = np.isfinite(x).all(axis=1) & (x.shape[1] == BITS * TIMES)
    full = np.zeros((len(x), BITS * TIMES))
    full[:, : x.shape[1]] = np.nan_to_num(x)
    return {"symbols": (full > 0).astype(np.uint8), "acquired": whole, "features": full[..., None]}


def generate(given):
    rng = np.random.default_rng(given["seed"])
    keys = rng.integers(0, 2, (len(given["symbols"]), BITS), dtype=np.uint8)
    return {"keys": keys, "helper.offset": np.repeat(keys, TIMES, axis=1) ^ given["symbols"]}


def reproduce(given):
    heard = (given["helper.offset"] ^ given["symbols"]).reshape(-1, BITS, TIMES)
    return {"keys": (heard.sum(axis=2) > TIMES // 2).astype(np.uint8), "accepted": given["acquired"]}


if __name__ == "__main__":
    step, source, target = sys.argv[1:]
    with np.load(source, allow_pickle=False) as file:
        done = {"witness": witness, "generate": generate, "reproduce": reproduce}[step](dict(file))
    np.savez(target, **done)

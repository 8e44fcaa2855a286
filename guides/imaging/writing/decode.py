"""From what the reader says, column by column, to how likely each code of a lexicon is.

Connectionist temporal classification (A. Graves and others, 2006): a text's likelihood is summed over all ways its
signs, doubled and with blanks between, fill the columns. All texts are followed at once along their common tree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.lexicon import SIGNS, Lexicon, Tree

Floats = npt.NDArray[np.float32]

LEAST = 1e-7
"""No sign is believed impossible: one bad column must not rule out a text for good."""

AT_ONCE, EVENED = 64, 4
"""Words followed at once, shortest first, so that what is known of them stays near the processor; and columns after
which their chances are brought back to 1: single precision holds four of the least."""


def chances(logits: Floats, columns: npt.NDArray[np.intp]) -> Floats:
    """Logits (n, signs, columns) as probabilities (n, columns, signs); behind the end only the blank remains.

    Args:
        columns: how many columns of each belong to its crop.
    """
    shifted = np.exp(logits - logits.max(axis=1, keepdims=True))
    shares = np.maximum(shifted / shifted.sum(axis=1, keepdims=True), LEAST).transpose(0, 2, 1)
    behind = np.arange(shares.shape[1])[None] >= columns[:, None]
    shares[behind] = 0.0
    shares[behind, 0] = 1.0
    return np.ascontiguousarray(shares, dtype=np.float32)


@dataclass(frozen=True)
class FreeReading:
    """The likeliest signs column by column, bound by no lexicon.

    ``columns`` are where each sign of ``text`` stands (its first); ``log`` the logarithm of this one way's chance.
    """

    text: str
    columns: tuple[int, ...]
    log: float


def freely(shares: Floats) -> list[FreeReading]:
    """What stands there as far as can be seen, for each of (n, columns, signs)."""
    best = shares.argmax(axis=2)
    before = np.concatenate([np.zeros((len(best), 1), best.dtype), best[:, :-1]], axis=1)
    kept = (best > 0) & (best != before)
    logs = np.log(shares.max(axis=2)).sum(axis=1)
    return [
        FreeReading("".join(SIGNS[sign - 1] for sign in row[keep]), tuple(np.flatnonzero(keep).tolist()), float(log))
        for row, keep, log in zip(best, kept, logs, strict=True)
    ]


def likelihoods(shares: Floats, lexicon: Lexicon) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Logarithms of how likely each code of the lexicon is (n, codes), the ways of writing it weighted and summed;
    and the likeliest spelling of each code (n, codes)."""
    tree, count = lexicon.tree, len(shares)
    ended, scale = np.zeros((count, len(tree.ends)), np.float32), np.zeros(count, np.float64)
    lengths = shares.shape[1] - (shares[:, ::-1, 0] < 1.0).argmax(axis=1)
    order = np.argsort(lengths, kind="stable")
    for chosen in (order[start : start + AT_ONCE] for start in range(0, count, AT_ONCE)):
        heard = shares[chosen, : lengths[chosen].max()].transpose(1, 2, 0)
        ended[chosen], scale[chosen] = _followed(np.ascontiguousarray(heard), tree)
    return _by_code(ended * tree.chances, tree.codes, len(lexicon.codes), scale)


def _followed(heard: Floats, tree: Tree) -> tuple[Floats, npt.NDArray[np.float64]]:
    """Chances (n, spellings) of words of which (columns, signs, n) was heard, and their scale (n,), logarithms."""
    doubled = np.flatnonzero(tree.signs == tree.signs[tree.parents])[1:]  # the first is the root
    closed = np.zeros((len(tree.signs), heard.shape[2]), np.float32)
    open_, scale = np.zeros_like(closed), np.zeros(heard.shape[2], np.float64)
    closed[0] = 1.0
    for column, here in enumerate(heard, 1):
        total = closed + open_
        into = total[tree.parents]
        into[doubled] = closed[tree.parents[doubled]]
        open_ += into
        open_ *= here[tree.signs]
        open_[0] = 0.0
        closed = np.multiply(total, here[0], out=total)
        if column % EVENED == 0:
            most = np.maximum(np.maximum(open_.max(axis=0), closed.max(axis=0)), np.float32(1e-30))
            open_ /= most
            closed /= most
            scale += np.log(most)
    return (open_ + closed)[tree.ends].T, scale


def _by_code(ended: Floats, codes: npt.NDArray[np.intp], count: int, scale: npt.NDArray[np.float64]
             ) -> tuple[Floats, npt.NDArray[np.intp]]:  # fmt: skip
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(count))
    sums = np.add.reduceat(ended[:, order], starts, axis=1)
    best = np.zeros((len(ended), count), np.intp)
    ends = [*starts[1:].tolist(), len(order)]
    for code, (start, end) in enumerate(zip(starts.tolist(), ends, strict=True)):
        best[:, code] = order[start + ended[:, order[start:end]].argmax(axis=1)]
    logs = np.log(np.maximum(sums.astype(np.float64), 1e-38)) + scale[:, None]
    return logs.astype(np.float32), best

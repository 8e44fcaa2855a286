"""What the networks are asked for while they learn."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from guides.training.making import STRIDE

REACH = 16.0
"""Distances are learnt as logarithms of so many pixels."""


def finder_loss(outputs: Tensor, kinds: Tensor, owner: Tensor, places: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    """How wrong the finder is.

    Args:
        outputs: (n, 10, h, w); kinds, owner: (n, h, w) as in ``making.Lesson``; places: (n, words + 1, 5).
    """
    outputs = outputs.float()
    known, heart = kinds != 255, (kinds > 0) & (kinds < 255)
    target = heart.float()
    weight = known.float() * (1 + 2 * target)
    plain = (
        F.binary_cross_entropy_with_logits(outputs[:, 0], target, reduction="none") * weight
    ).sum() / weight.sum()
    sure = torch.sigmoid(outputs[:, 0]) * known
    dice = 1 - (2 * (sure * target).sum((1, 2)) + 1) / ((sure + target * known).sum((1, 2)) + 1)
    batch, y, x = torch.nonzero(heart & (owner > 0), as_tuple=True)
    if len(batch) == 0:
        return plain + dice.mean(), {"heart": plain.detach()}
    number = owner[batch, y, x].long()
    share = _shares(batch, number, places.shape[1])
    kind = F.cross_entropy(
        outputs[batch, 1:5, y, x], kinds[batch, y, x].long() - 1, reduction="none", label_smoothing=0.02
    )
    want, turn = distances(places[batch, number], x, y)
    got = torch.exp(outputs[batch, 5:9, y, x].clamp(-4, 4)) * REACH
    narrow = torch.minimum(got, want)
    inner = (narrow[:, 0] + narrow[:, 1]) * (narrow[:, 2] + narrow[:, 3])
    both = (got[:, 0] + got[:, 1]) * (got[:, 2] + got[:, 3]) + (want[:, 0] + want[:, 1]) * (want[:, 2] + want[:, 3])
    overlap = -torch.log((inner + 1) / (both - inner + 1))
    spread = F.smooth_l1_loss(outputs[batch, 5:9, y, x], torch.log(want / REACH), reduction="none", beta=0.2).mean(1)
    lean = F.smooth_l1_loss(outputs[batch, 9, y, x], turn, reduction="none", beta=0.05)
    parts = {"heart": plain, "dice": dice.mean(), "kind": (kind * share).sum(), "box": (overlap * share).sum(),
             "spread": (spread * share).sum(), "turn": (lean * share).sum()}  # fmt: skip
    edges = 1.5 * parts["box"] + 0.5 * parts["spread"] + 4 * parts["turn"]
    total = 2 * plain + dice.mean() + 0.7 * parts["kind"] + edges
    return total, {name: value.detach() for name, value in parts.items()}


def _shares(batch: Tensor, number: Tensor, most: int) -> Tensor:
    """Weights that count every word alike, however large; they add up to 1."""
    word = batch * most + number
    _, inverse, counts = torch.unique(word, return_inverse=True, return_counts=True)
    return 1.0 / counts[inverse].float() / len(counts)


def distances(places: Tensor, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """From squares (x, y) of the finder to the four edges of their word's box in pixels; its turn."""
    across, down = (x + 0.5) * STRIDE - places[:, 0], (y + 0.5) * STRIDE - places[:, 1]
    turn = places[:, 4]
    along = across * torch.cos(turn) + down * torch.sin(turn)
    below = down * torch.cos(turn) - across * torch.sin(turn)
    wide, high = places[:, 2] / 2, places[:, 3] / 2
    return torch.stack([along + wide, wide - along, below + high, high - below], 1).clamp(min=1.0), turn


def reader_loss(logits: Tensor, texts: Tensor, widths: Tensor) -> Tensor:
    """CTC loss of (n, signs, 1, w/4) logits against (n, longest) numbers of signs, 0 behind the end."""
    steps = logits.float().squeeze(2).permute(2, 0, 1).log_softmax(2)
    given = ((widths + 3) // 4).clamp(max=steps.shape[0]).long()
    wanted = (texts > 0).sum(1).long()
    return F.ctc_loss(steps, texts.long(), given, wanted, blank=0, zero_infinity=True)

"""The network that follows lines learns by the clock, while makers go on making pages."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional as F

from guides.imaging.writing.sights import CELLS, CHANNELS, SIDE
from guides.training.aims import FIRST, LINE, SECOND, Range, start_makers
from guides.training.learn import Pupil
from guides.training.nets import PointerNet
from guides.training.pointers import WAYS
from guides.training.taken_up import took_up

RATE = 2e-3
"""Highest learning rate."""

SPREAD = 1.4
"""Cells by which a line's end may be missed before it counts."""

AT_TIP, ON_LINE = 0.25, 0.5
"""Weights of hitting the very end of a line, and of telling which pixels are the line, beside hitting the area."""

FEWEST = 300
"""Lessons that are waited for before the first step."""

SHOWN = 256
"""Of them, those that a network which is taken up again is shown first."""

WATCHED_EVERY = 37
"""Of the places in the store one in so many is only watched."""


@dataclass(frozen=True)
class AimingPlan:
    """``minutes`` to learn, views a step, places in the store, processes that make, share of the usual rate; whether
    what sees strokes is held as it is: enough where a network is taught on, and half the work on one core."""

    minutes: float
    batch: int = 224
    kept: int = 120_000
    makers: int = 14
    seed: int = 30
    rate: float = 1.0
    held: bool = False


class _Hoard:
    """What was made so far, where the learner is."""

    def __init__(self, store: Range, device: str) -> None:
        count = len(store.ready)
        self.store, self.device = store, device
        self.views = torch.zeros((count, CHANNELS, SIDE, SIDE), dtype=torch.uint8, device=device)
        self.cells = torch.zeros((count, CELLS, CELLS), dtype=torch.uint8, device=device)
        self.spots = torch.zeros((count, 2, 2), device=device)
        self.way = torch.zeros((count,), dtype=torch.uint8, device=device)
        self.here = np.zeros(count, bool)

    def take_in(self, most: int = 4096) -> int:
        """Bring what is new; returns how many there are."""
        new = np.flatnonzero((np.asarray(self.store.ready) > 0) & ~self.here)[:most]
        if len(new):
            at = torch.from_numpy(new).to(self.device)
            for mine, theirs in ((self.views, self.store.views), (self.cells, self.store.cells),
                                 (self.spots, self.store.spots), (self.way, self.store.way)):  # fmt: skip
                mine[at] = torch.from_numpy(np.asarray(theirs[new])).to(self.device)
            self.here[new] = True
        return int(self.here.sum())


def learn_to_aim(plan: AimingPlan, fonts: Path, out: Path, start_from: Path | None = None) -> None:
    """Make, learn, leave ``pointer.pt`` in ``out``; begin from that or its ``.onnx.xz`` in ``start_from``."""
    began = time.monotonic()
    store = Range.of(plan.kept)
    makers = start_makers(store, fonts, plan.makers, plan.seed)
    torch.manual_seed(plan.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    net, hoard = PointerNet(), _Hoard(store, device)
    while hoard.take_in() < min(FEWEST, plan.kept // 2):
        time.sleep(0.3)
    if start_from is not None:
        seen = torch.from_numpy(np.flatnonzero(hoard.here)[:SHOWN]).to(device)
        batches = [shown(views.float().cpu()) for views in hoard.views[seen].split(32)]
        print("pointer", "taken up" if took_up(net, start_from, "pointer", batches) else "from nothing", flush=True)
    if plan.held:
        net.hold()
    pupil = Pupil(net, RATE * plan.rate, device)
    _aim_lessons(plan, pupil, hoard, began)
    for maker in makers:
        maker.terminate()
    out.mkdir(parents=True, exist_ok=True)
    torch.save({key: value.cpu() for key, value in pupil.kept.state_dict().items()}, out / "pointer.pt")


def _aim_lessons(plan: AimingPlan, pupil: Pupil, hoard: _Hoard, began: float) -> None:
    draw, last_report = np.random.default_rng(plan.seed), time.monotonic()
    started, end = time.monotonic(), began + plan.minutes * 60
    numbers = np.arange(plan.kept)
    while (now := time.monotonic()) < end:
        if pupil.steps % 20 == 0:
            hoard.take_in()
            taught = numbers[hoard.here & (numbers % WATCHED_EVERY != 0)]
        chosen = torch.from_numpy(draw.choice(taught, plan.batch)).to(hoard.device)
        views, cells, spots = varied(hoard.views[chosen].float(), hoard.cells[chosen], hoard.spots[chosen])
        with torch.autocast("cuda", torch.bfloat16, enabled=hoard.device != "cpu"):
            logits = pupil.net(views.contiguous(memory_format=torch.channels_last))
        loss, parts = aim_loss(logits.float(), cells, spots)
        pupil.step(loss, (now - started) / (end - started))
        if now - last_report > 20:
            last_report = now
            seen: dict[str, Any] = {"s": round(now - began), "steps": pupil.steps, "made": int(hoard.here.sum())}
            seen |= {key: round(float(value), 4) for key, value in parts.items()}
            print("pointer", json.dumps(seen | _watched(pupil, hoard)), flush=True)


def shown(views: Tensor) -> Tensor:
    """Views (n, 5, s, s) 0-255 as the network takes them."""
    return torch.cat([(views[:, :3] - 128) / 64, views[:, 3:] / 255], 1)


def varied(views: Tensor, cells: Tensor, spots: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """A batch mirrored or turned, all of it alike; each view in a light of its own."""
    if torch.rand(()) < 0.5:
        views, cells, spots = views.flip(3), cells.flip(2), torch.stack([CELLS - spots[..., 0], spots[..., 1]], -1)
    if torch.rand(()) < 0.5:
        views, cells, spots = views.flip(2), cells.flip(1), torch.stack([spots[..., 0], CELLS - spots[..., 1]], -1)
    if torch.rand(()) < 0.5:
        views, cells, spots = views.transpose(2, 3), cells.transpose(1, 2), spots.flip(-1)
    n, device = len(views), views.device
    colour = views[:, :3]
    if torch.rand(()) < 0.4:
        colour = colour[:, torch.randperm(3, device=device)]
    gain = 1 + 0.15 * torch.randn(n, 3, 1, 1, device=device)
    lift = 16 * torch.randn(n, 3, 1, 1, device=device)
    noise = torch.randn_like(colour) * (5 * torch.rand(n, 1, 1, 1, device=device) ** 2)
    colour = (colour * gain + lift + noise).clamp(0, 255)
    return shown(torch.cat([colour, views[:, 3:]], 1)), cells, spots


def spoken(logits: Tensor) -> tuple[Tensor, Tensor]:
    """Logarithms of the chances of every cell (n, CELLS, CELLS) and of what lies beyond the view (n,)."""
    cells, beyond = logits[:, 0], logits[:, 1].mean((1, 2))
    every = torch.logsumexp(torch.cat([cells.flatten(1), beyond[:, None]], 1), 1)
    return cells - every[:, None, None], beyond - every


def aim_loss(logits: Tensor, cells: Tensor, spots: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    """Minus the logarithm of the chance given to the areas meant; the same of the lines' very ends, by a bell over
    some cells; and whether each cell is told to be on the line."""
    chances, beyond = spoken(logits)
    area = logits.new_zeros(len(logits))
    tip = logits.new_zeros(len(logits))
    for number, bit in enumerate((FIRST, SECOND)):
        spot = spots[:, number]
        outside = ((spot < 0) | (spot >= CELLS)).any(1)
        mine = torch.where((cells & bit) > 0, chances, torch.full_like(chances, -1e4)).flatten(1)
        rest = torch.where(outside, beyond, torch.full_like(beyond, -1e4))
        area = area - 0.5 * torch.logsumexp(torch.cat([mine, rest[:, None]], 1), 1).clamp(min=-12)
        at = torch.arange(CELLS, device=logits.device) + 0.5
        bell = torch.exp(-((at[None, None] - spot[:, :1, None]) ** 2 + (at[None, :, None] - spot[:, 1:, None]) ** 2)
                         / (2 * SPREAD**2))  # fmt: skip
        aimed = -(bell * chances).sum((1, 2)) / bell.sum((1, 2)).clamp(min=1e-3)
        tip = tip + 0.5 * torch.where(outside, torch.zeros_like(aimed), aimed)
    lined = ((cells & LINE) > 0).flatten(1)
    has_line = lined.any(1).float()
    weight = torch.where(lined, 8.0, 1.0)
    line = F.binary_cross_entropy_with_logits(logits[:, 2].flatten(1), lined.float(), weight)
    tip = (tip * has_line).sum() / has_line.sum().clamp(min=1)
    mean = area.mean()
    return mean + AT_TIP * tip + ON_LINE * line, {"area": mean.detach(), "tip": tip.detach(), "line": line.detach()}


def _watched(pupil: Pupil, hoard: _Hoard) -> dict[str, float]:
    """Share of watched lessons whose likeliest cell lies in an area meant, by the way they are written."""
    watched = np.flatnonzero(hoard.here)
    watched = watched[watched % WATCHED_EVERY == 0][:1200]
    hits, ways = [], []
    with torch.no_grad():
        for start in range(0, len(watched), 200):
            at = torch.from_numpy(watched[start : start + 200]).to(hoard.device)
            logits = pupil.kept(shown(hoard.views[at].float()))
            chances, beyond = spoken(logits.float())
            best, place = chances.flatten(1).max(1)
            cells = hoard.cells[at].flatten(1).gather(1, place[:, None])[:, 0]
            spot = hoard.spots[at]
            outside = ((spot < 0) | (spot >= CELLS)).any(2).all(1)
            hits.append(torch.where(beyond > best, outside, (cells & (FIRST | SECOND)) > 0).cpu().numpy())
            ways.append(hoard.way[at].cpu().numpy())
    hit, way = np.concatenate(hits), np.concatenate(ways)
    return {name: round(float(hit[way == k].mean()), 3) for k, name in enumerate(WAYS) if (way == k).any()}

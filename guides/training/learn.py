"""Learning by the clock: makers fill the store, both networks take turns at it."""

from __future__ import annotations

import copy
import json
import math
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor, nn

from guides.imaging.writing.lexicon import SIGNS
from guides.training import stream
from guides.training.losses import finder_loss, reader_loss
from guides.training.nets import FinderNet, ReaderNet
from guides.training.taken_up import took_up

FINDER_RATE, READER_RATE = 2.5e-3, 1.5e-3
"""Highest learning rates, reached after a twentieth of the time and led down to nothing in a cosine."""


BROUGHT = 10
"""Steps from one look for new tiles to the next."""


@dataclass(frozen=True)
class LearningPlan:
    """``minutes`` to learn, ``tiles`` and ``crops`` a step, the store's size, grounds and processes that make."""

    minutes: float
    tiles: int = 24
    crops: int = 384
    kept_tiles: int = 6000
    kept_crops: int = 150_000
    grounds: int = 320
    makers: int = 14
    seed: int = 20
    rate: float = 1.0


class Pupil:
    """A network that learns, and the running mean of its weights, which is what is kept."""

    def __init__(self, net: nn.Module, rate: float, device: str) -> None:
        self.net = net.to(device).to(memory_format=torch.channels_last)
        self.kept = copy.deepcopy(net).eval()
        self.rate = rate
        self.steps = 0
        decayed = [p for p in net.parameters() if p.ndim > 1]
        rest = [p for p in net.parameters() if p.ndim <= 1]
        groups = [{"params": decayed, "weight_decay": 0.02}, {"params": rest, "weight_decay": 0.0}]
        self.optimiser = torch.optim.AdamW(groups, lr=rate, betas=(0.9, 0.98))

    def step(self, loss: Tensor, gone: float) -> None:
        """One step at a share ``gone`` of the time."""
        warm = min(1.0, gone / 0.05 + 0.02)
        for group in self.optimiser.param_groups:
            group["lr"] = self.rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(gone, 1.0))))
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        self.steps += 1
        keep = min(0.999, (1 + self.steps) / (10 + self.steps))
        with torch.no_grad():
            ours, theirs = self.kept.state_dict(), self.net.state_dict()
            floats = [name for name in ours if ours[name].is_floating_point()]
            torch._foreach_lerp_([ours[n] for n in floats], [theirs[n].to(ours[n].dtype) for n in floats], 1 - keep)


def shades(batch: Tensor) -> Tensor:
    """Pictures (n, 3, h, w) 0-255 as the finder takes them, each in a light of its own."""
    n, device = len(batch), batch.device
    batch = torch.einsum("nchw,ndc->ndhw", batch, _mixed(n, device))
    middle = batch.mean((2, 3), keepdim=True)
    flat = torch.where(torch.rand(n, 1, 1, 1, device=device) < 0.3, torch.rand(n, 1, 1, 1, device=device) * 0.5, 0.0)
    gain = (1 + 0.12 * torch.randn(n, 3, 1, 1, device=device)) * (1 - flat)
    lift = 14 * torch.randn(n, 3, 1, 1, device=device)
    noise = torch.randn_like(batch) * (3 * torch.rand(n, 1, 1, 1, device=device))
    values = (middle + (batch - middle) * gain + lift + noise).clamp(0, 255)
    return (values - 128) / 64


def _mixed(n: int, device: str | torch.device) -> Tensor:
    """For most of n pictures nothing, for others their colours run into each other: (n, 3, 3)."""
    some = (torch.rand(n, 1, 1, device=device) < 0.4) * 0.2
    mix = torch.eye(3, device=device) + some * torch.randn(n, 3, 3, device=device)
    return mix / mix.sum(2, keepdim=True).clamp(min=0.3)


def even(batch: Tensor, widths: Tensor) -> Tensor:
    """Crops (n, 3, 32, w) 0-255, each brought to mean 0 and spread 1 within its width, 0 behind it."""
    inside = (torch.arange(batch.shape[3], device=batch.device)[None] < widths[:, None]).float()[:, None, None]
    count = inside.sum((1, 2, 3), keepdim=True) * 3 * batch.shape[2]
    mean = (batch * inside).sum((1, 2, 3), keepdim=True) / count
    spread = (((batch - mean) * inside) ** 2).sum((1, 2, 3), keepdim=True) / count
    return (batch - mean) / (spread.sqrt() + 4) * inside


def _varied(batch: Tensor) -> Tensor:
    """Crops with inverted or mixed channels, noise, and now and then a strip missing."""
    n, device = len(batch), batch.device
    flip = torch.rand(n, 1, 1, 1, device=device) < 0.08
    batch = torch.einsum("nchw,ndc->ndhw", torch.where(flip, 255 - batch, batch), _mixed(n, batch.device))
    batch = batch * (1 + 0.15 * torch.randn(n, 3, 1, 1, device=device)) + 10 * torch.randn(n, 3, 1, 1, device=device)
    batch = batch + torch.randn_like(batch) * (8 * torch.rand(n, 1, 1, 1, device=device))
    at = torch.rand(n, 1, 1, 1, device=device) * batch.shape[3]
    strip = (torch.arange(batch.shape[3], device=device)[None, None, None] - at).abs() < 1.5
    return torch.where(strip & (torch.rand(n, 1, 1, 1, device=device) < 0.15), batch.mean(3, keepdim=True), batch)


def learn(plan: LearningPlan, fonts: Path, out: Path, start_from: Path | None = None) -> None:
    """Make, learn, leave ``finder.pt`` and ``reader.pt`` in ``out``; begin from weights in ``start_from``, if any.

    Each network learns in a process of its own, on an accelerator of its own where there are two.
    """
    began = time.monotonic()
    store = stream.Store.of(plan.kept_tiles, plan.kept_crops)
    cores = os.cpu_count() or 2
    grounds = stream.make_grounds(plan.grounds, plan.seed * 1000, cores)
    watched = stream.watched_crops(fonts, grounds[:8], 48, cores)
    print(f"{len(grounds)} grounds, {len(watched)} watched crops in {time.monotonic() - began:.0f} s", flush=True)
    makers = stream.start(store, grounds, fonts, plan.makers, plan.seed)
    out.mkdir(parents=True, exist_ok=True)
    context = get_context("fork")
    pupils = [
        context.Process(target=_school, args=(name, plan, store, watched, out, start_from, began))
        for name in ("finder", "reader")
    ]
    for pupil in pupils:
        pupil.start()
    for pupil in pupils:
        pupil.join()
    for maker in makers:
        maker.terminate()
    if any(pupil.exitcode for pupil in pupils):
        raise RuntimeError("a network did not learn to the end")


def _school(
    name: str,
    plan: LearningPlan,
    store: stream.Store,
    watched: list[tuple[Any, str]],
    out: Path,
    start_from: Path | None,
    began: float,
) -> None:
    """One network learns until the time is over."""
    torch.manual_seed(plan.seed)
    device = f"cuda:{int(name == 'reader') % torch.cuda.device_count()}" if torch.cuda.is_available() else "cpu"
    net: nn.Module = FinderNet() if name == "finder" else ReaderNet()
    rate, step = (FINDER_RATE, _finder_step) if name == "finder" else (READER_RATE, _reader_step)
    while int((np.asarray(store.ready) > 0).sum()) < 4 * plan.tiles or int((np.asarray(store.drawn) > 0).sum()) < 500:
        time.sleep(0.3)
    if start_from is not None:
        print(name, "taken up" if took_up(net, start_from, name, _shown(name, store)) else "from nothing", flush=True)
    pupil = Pupil(net, rate * plan.rate, device)
    _lessons(name, plan, store, watched, pupil, step, device, began)
    torch.save({key: value.cpu() for key, value in pupil.kept.state_dict().items()}, out / f"{name}.pt")


def _shown(name: str, store: stream.Store) -> list[Tensor]:
    """What a network that is taken up again is shown first: a few of the tiles or crops, as it will see them."""
    if name == "finder":
        chosen = np.flatnonzero(np.asarray(store.ready) > 0)[:48]
        pictures = torch.from_numpy(np.asarray(store.pictures[chosen])).permute(0, 3, 1, 2).float()
        return [shades(batch) for batch in pictures.split(8)]
    chosen = np.flatnonzero(np.asarray(store.drawn) > 0)[:480]
    crops = torch.from_numpy(np.asarray(store.crops[chosen])).permute(0, 3, 1, 2).float()
    widths = torch.from_numpy(np.asarray(store.widths[chosen])).clamp(min=16)
    return [even(batch, wide) for batch, wide in zip(crops.split(96), widths.split(96), strict=True)]


class Shelf:
    """What was made so far, where a network learns: brought over once, however often it is looked at."""

    def __init__(self, counts: Any, fields: Sequence[Any], device: str) -> None:
        self.counts, self.fields, self.device = counts, fields, device
        self.seen: npt.NDArray[np.int32] = np.zeros(len(counts), np.int32)
        self.mine = [torch.zeros(f.shape, dtype=torch.from_numpy(f[:1]).dtype, device=device) for f in fields]
        self.there = torch.zeros(0, dtype=torch.long, device=device)

    def bring(self, most: int) -> None:
        """Take over what is new; what is being written anew meanwhile is taken again next time."""
        counts = np.array(self.counts)
        new = np.flatnonzero((counts > 0) & (counts != self.seen))[:most]
        if not len(new):
            return
        at = torch.from_numpy(new).to(self.device)
        for mine, theirs in zip(self.mine, self.fields, strict=True):
            mine[at] = torch.from_numpy(np.asarray(theirs[new])).to(self.device)
        whole = np.asarray(self.counts)[new] == counts[new]
        self.seen[new] = np.where(whole, counts[new], -1)
        self.there = torch.from_numpy(np.flatnonzero(self.seen > 0)).to(self.device)

    def some(self, count: int) -> list[Tensor]:
        """So many of them, drawn by lot, field by field."""
        at = self.there[torch.randint(len(self.there), (count,), device=self.device)]
        return [mine[at] for mine in self.mine]


Step = Callable[[LearningPlan, Shelf, Pupil, float, str], dict[str, Tensor]]


def _lessons(
    name: str,
    plan: LearningPlan,
    store: stream.Store,
    watched: list[tuple[Any, str]],
    pupil: Pupil,
    step: Step,
    device: str,
    began: float,
) -> None:
    last_report = started = time.monotonic()
    end = began + plan.minutes * 60
    tiles = (store.pictures, store.kinds, store.owner, store.places)
    fields, counts = (
        (tiles, store.ready) if name == "finder" else ((store.crops, store.widths, store.texts), store.drawn)
    )
    shelf = Shelf(counts, fields, device)
    shelf.bring(len(counts))
    while (now := time.monotonic()) < end:
        if pupil.steps % BROUGHT == 0:
            shelf.bring(len(counts) // 20)
        seen = step(plan, shelf, pupil, (now - started) / (end - started), device)
        if now - last_report > 30:
            last_report = now
            report: dict[str, object] = {"s": round(now - began), "steps": pupil.steps}
            report |= {key: round(float(value), 4) for key, value in seen.items()}
            if name == "reader":
                report["watched"] = round(_right(pupil, watched, device), 4)
            else:
                report["tiles"] = int(np.asarray(store.ready).max()) * plan.makers
            print(name, json.dumps(report), flush=True)


def _right(pupil: Pupil, watched: list[tuple[Any, str]], device: str) -> float:
    """Share of watched crops read exactly, without a lexicon."""
    good = 0
    for crop, text in watched:
        batch = torch.from_numpy(crop).to(device).permute(2, 0, 1)[None].float()
        batch = nn.functional.pad(batch, (0, 256 - batch.shape[3]))
        with torch.no_grad():
            logits = pupil.kept(even(batch, torch.tensor([crop.shape[1]], device=device)))[0, :, 0]
        best = logits[:, : (crop.shape[1] + 3) // 4].argmax(0).tolist()
        signs = [b for a, b in zip([0, *best], best, strict=False) if b and b != a]
        good += "".join(SIGNS[sign - 1] for sign in signs) == text
    return good / max(len(watched), 1)


def _finder_step(plan: LearningPlan, shelf: Shelf, pupil: Pupil, gone: float, device: str) -> dict[str, Tensor]:
    pictures, kinds, owner, places = shelf.some(plan.tiles)
    with torch.autocast("cuda", torch.bfloat16, enabled=device != "cpu"):
        outputs = pupil.net(
            shades(pictures.permute(0, 3, 1, 2).float()).contiguous(memory_format=torch.channels_last)
        )
    loss, parts = finder_loss(outputs, kinds, owner, places)
    pupil.step(loss, gone)
    return parts


def _reader_step(plan: LearningPlan, shelf: Shelf, pupil: Pupil, gone: float, device: str) -> dict[str, Tensor]:
    crops, wide, texts = shelf.some(plan.crops)
    widths = wide.clamp(min=16)
    batch = crops.permute(0, 3, 1, 2).float()
    with torch.autocast("cuda", torch.bfloat16, enabled=device != "cpu"):
        logits = pupil.net(even(_varied(batch), widths).contiguous(memory_format=torch.channels_last))
    loss = reader_loss(logits, texts, widths)
    pupil.step(loss, gone)
    return {"ctc": loss.detach()}

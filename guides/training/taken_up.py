"""Networks taken up again from the files that OpenCV runs: what learnt on has to begin somewhere."""

from __future__ import annotations

import lzma
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

LEAST = 1e-3
"""Spread below which a channel says nothing and is left as it is."""


def took_up(net: nn.Module, weights: Path, name: str, batches: Sequence[Tensor]) -> bool:
    """Load ``finder.pt`` or the like into ``net``, else the numbers of ``finder.onnx.xz``; False without either.
    Of a ``.pt`` whose network was of another size whatever fits is taken.

    In an exported file normalisations are folded into the convolutions before them. They are unfolded by looking at
    what each channel says to ``batches``, so that the network does the same while it learns as when it is run.
    """
    if (weights / f"{name}.pt").exists():
        known, ours = torch.load(weights / f"{name}.pt", map_location="cpu"), net.state_dict()
        fitting = {key: value for key, value in known.items() if key in ours and value.shape == ours[key].shape}
        net.load_state_dict({**ours, **fitting})
        return bool(fitting)
    if not (weights / f"{name}.onnx.xz").exists():
        return False
    net.eval()
    folded = list(_convolutions(weights / f"{name}.onnx.xz"))
    pairs = _in_their_order(net, batches[0])
    if len(folded) != len(pairs):
        raise ValueError(f"{name}.onnx.xz holds {len(folded)} convolutions, the network {len(pairs)}")
    with torch.no_grad():
        for (weight, bias), (convolution, norm) in zip(folded, pairs, strict=True):
            convolution.weight.copy_(weight)
            if norm is None:
                assert convolution.bias is not None
                convolution.bias.copy_(bias)
                continue
            norm.running_mean.zero_()
            norm.running_var.fill_(1 - norm.eps)
            norm.weight.fill_(1.0)
            norm.bias.copy_(bias)
        _unfold([(c, n) for c, n in pairs if n is not None], net, batches)
    net.train()
    return True


def _convolutions(path: Path) -> Iterator[tuple[Tensor, Tensor]]:
    """Weights and biases in the order in which they are run."""
    import onnx
    from onnx import numpy_helper

    graph = onnx.load_from_string(lzma.decompress(path.read_bytes())).graph
    numbers = {tensor.name: numpy_helper.to_array(tensor).astype(np.float32) for tensor in graph.initializer}
    for node in graph.node:
        if node.op_type == "Conv":
            weight = torch.from_numpy(numbers[node.input[1]].copy())
            bias = numbers[node.input[2]].copy() if len(node.input) > 2 else np.zeros(len(weight), np.float32)
            yield weight, torch.from_numpy(bias)


def _in_their_order(net: nn.Module, batch: Tensor) -> list[tuple[nn.Conv2d, nn.BatchNorm2d | None]]:
    """The network's convolutions as they are run, each with the normalisation behind it."""
    run: list[nn.Module] = []
    hooks = [
        module.register_forward_hook(lambda layer, *_: run.append(layer))
        for module in net.modules()
        if isinstance(module, nn.Conv2d | nn.BatchNorm2d)
    ]
    with torch.no_grad():
        net(batch)
    for hook in hooks:
        hook.remove()
    pairs: list[tuple[nn.Conv2d, nn.BatchNorm2d | None]] = []
    for place, module in enumerate(run):
        if isinstance(module, nn.Conv2d):
            behind = run[place + 1] if place + 1 < len(run) else None
            pairs.append((module, behind if isinstance(behind, nn.BatchNorm2d) else None))
    return pairs


def _unfold(pairs: Sequence[tuple[nn.Conv2d, nn.BatchNorm2d]], net: nn.Module, batches: Sequence[Tensor]) -> None:
    """Give each normalisation the mean and spread that its convolution's channels have."""
    sums: dict[nn.Module, Tensor] = {}
    hooks = []
    for convolution, _ in pairs:

        def note(layer: nn.Module, _: object, outputs: Tensor) -> None:
            values = outputs.transpose(0, 1).flatten(1).double()
            here = torch.stack([torch.full_like(values[:, 0], values.shape[1]), values.sum(1), (values**2).sum(1)])
            sums[layer] = sums[layer] + here if layer in sums else here

        hooks.append(convolution.register_forward_hook(note))
    for batch in batches:
        net(batch)
    for hook in hooks:
        hook.remove()
    for convolution, norm in pairs:
        count, total, squares = sums[convolution]
        mean = total / count
        spread = (squares / count - mean**2).clamp(min=LEAST**2)
        norm.bias.add_(mean.float())
        norm.weight.copy_(spread.add(norm.eps).sqrt())
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(spread)

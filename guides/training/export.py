"""From PyTorch weights to the files that OpenCV reads: ONNX whose numbers are kept in half precision."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from torch import nn

from guides.imaging.writing.sights import CHANNELS, SIDE
from guides.training.nets import FinderNet, PointerNet, ReaderNet


def export(weights: Path, out: Path) -> None:
    """Those of ``finder.pt``, ``reader.pt``, ``pointer.pt`` that are there as ``.onnx``; normalisations folded in."""
    out.mkdir(parents=True, exist_ok=True)
    nets: tuple[tuple[str, nn.Module, tuple[int, ...]], ...] = (
        ("finder", FinderNet(), (1, 3, 320, 320)),
        ("reader", ReaderNet(), (1, 3, 32, 128)),
        ("pointer", PointerNet(), (1, CHANNELS, SIDE, SIDE)),
    )
    for name, net, shape in nets:
        if not (weights / f"{name}.pt").exists():
            continue
        net.load_state_dict(torch.load(weights / f"{name}.pt", map_location="cpu"))
        _write(net.eval(), torch.zeros(shape), out / f"{name}.onnx")


def _write(net: nn.Module, example: torch.Tensor, path: Path) -> None:
    axes = {"page": {0: "n", 2: "h", 3: "w"}, "said": {0: "n", 2: "h", 3: "w"}}
    torch.onnx.export(
        net, (example,), str(path), input_names=["page"], output_names=["said"], dynamic_axes=axes,
        opset_version=17, dynamo=False,
    )  # fmt: skip
    _halve(path)


def _halve(path: Path) -> None:
    """Keep the weights as 16-bit floats: OpenCV widens them as it reads them."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(str(path))
    for tensor in model.graph.initializer:
        if tensor.data_type == onnx.TensorProto.FLOAT:
            values = numpy_helper.to_array(tensor).astype(np.float16)
            tensor.CopyFrom(numpy_helper.from_array(values, tensor.name))
    model.doc_string = ""
    for node in model.graph.node:
        node.doc_string = ""
    onnx.save(model, str(path))

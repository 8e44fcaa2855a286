"""From PyTorch weights to the files that OpenCV reads: ONNX whose numbers are kept in half precision, packed."""

from __future__ import annotations

import io
import lzma
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch import nn

from guides.imaging.writing.sights import CHANNELS, SIDE
from guides.training.nets import FinderNet, PointerNet, ReaderNet

LEVELS = 127
"""Steps from nought to an output's largest weight: what networks of this kind bear without seeing worse."""


def export(weights: Path, out: Path) -> None:
    """Those of ``finder.pt``, ``reader.pt``, ``pointer.pt`` there, as ``.onnx.xz``; normalisations folded in."""
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
        _write(net.eval(), torch.zeros(shape), out / f"{name}.onnx.xz")


def _write(net: nn.Module, example: torch.Tensor, path: Path) -> None:
    axes = {"page": {0: "n", 2: "h", 3: "w"}, "said": {0: "n", 2: "h", 3: "w"}}
    whole = io.BytesIO()
    torch.onnx.export(
        net, (example,), whole, input_names=["page"], output_names=["said"], dynamic_axes=axes,
        opset_version=17, dynamo=False,
    )  # fmt: skip
    path.write_bytes(packed(whole.getvalue()))


def packed(model: bytes) -> bytes:
    """An ONNX model with its weights kept short, packed by LZMA: about seven bits a number.

    Numbers of more than one axis are rounded to ``LEVELS`` steps each way, a power of two wide so that half precision
    holds them exactly and their last bits are nought; OpenCV widens half precision as it reads it.
    """
    import onnx
    from onnx import numpy_helper

    graph = onnx.load_from_string(model)
    for tensor in graph.graph.initializer:
        if tensor.data_type in (onnx.TensorProto.FLOAT, onnx.TensorProto.FLOAT16):
            values = numpy_helper.to_array(tensor).astype(np.float32)
            if values.ndim > 1:
                values = _rounded(values)
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), tensor.name))
    graph.doc_string = ""
    for node in graph.graph.node:
        node.doc_string = ""
    return lzma.compress(graph.SerializeToString(), preset=9 | lzma.PRESET_EXTREME)


def _rounded(weights: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Weights (out, …) in steps of each output's own."""
    largest = np.abs(weights).reshape(len(weights), -1).max(axis=1)
    step = 2.0 ** np.ceil(np.log2(np.maximum(largest, 2.0**-10) / LEVELS))
    step = step.reshape(-1, *[1] * (weights.ndim - 1)).astype(np.float32)
    return np.asarray(np.round(weights / step) * step, np.float32)

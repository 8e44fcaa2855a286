"""Learning that goes on from the weights in the house; needs the extra ``training``, so it is run by name:
``python -m pytest tests/benchmarks/test_taken_up.py``."""

from __future__ import annotations

from pathlib import Path

import pytest
import torch

from guides.training.export import export
from guides.training.nets import ReaderNet
from guides.training.taken_up import took_up


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_network_taken_up_from_its_file_says_the_same(tmp_path: Path) -> None:
    """Against PyTorch's own numbers, normalisations unfolded."""
    torch.manual_seed(1)
    first, again = ReaderNet(), ReaderNet()
    shown = [torch.randn(4, 3, 32, 64) for _ in range(3)]
    for batch in shown:
        first(batch)
    torch.save(first.state_dict(), tmp_path / "reader.pt")
    export(tmp_path, tmp_path)
    (tmp_path / "reader.pt").unlink()
    assert took_up(again, tmp_path, "reader", shown)
    with torch.no_grad():
        gap = (first.eval()(shown[0]) - again.eval()(shown[0])).abs().max()
        learning = (again.train()(torch.cat(shown)) - again.eval()(torch.cat(shown))).abs().max()
    assert gap < 0.02
    assert learning < 0.02
    assert not took_up(again, tmp_path, "finder", shown)

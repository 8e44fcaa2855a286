"""The networks in PyTorch. What OpenCV runs is exported from them (``export``)."""

from __future__ import annotations

from torch import Tensor, nn
from torch.nn import functional as F

from guides.imaging.writing.lexicon import SIGNS

FINDER_SAYS = 10
"""Channels of the finder: heart, four kinds, logarithms of four distances in 16 pixels, turn in radians."""


Size = int | tuple[int, int]


def _step(into: int, out: int, size: Size = 3, stride: int = 1, pad: Size | None = None) -> nn.Sequential:
    """Convolution, normalisation, ReLU."""
    if pad is None:
        pad = size // 2 if isinstance(size, int) else 0
    return nn.Sequential(
        nn.Conv2d(into, out, size, stride, pad, bias=False), nn.BatchNorm2d(out), nn.ReLU(inplace=True)
    )


class Residual(nn.Module):
    """Two convolutions beside a straight way through."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.first = _step(width, width)
        self.second = nn.Sequential(nn.Conv2d(width, width, 3, 1, 1, bias=False), nn.BatchNorm2d(width))

    def forward(self, x: Tensor) -> Tensor:
        """(n, width, h, w) to the same."""
        return F.relu(x + self.second(self.first(x)))


class Along(nn.Module):
    """Two convolutions along a line of writing beside a straight way through."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.first = _step(width, width, (1, 5), 1, (0, 2))
        self.second = nn.Sequential(nn.Conv2d(width, width, (1, 5), 1, (0, 2), bias=False), nn.BatchNorm2d(width))

    def forward(self, x: Tensor) -> Tensor:
        """(n, width, 1, w) to the same."""
        return F.relu(x + self.second(self.first(x)))


class FinderNet(nn.Module):
    """A page (n, 3, h, w), h and w multiples of 32, values about -2 to 2, to (n, 10, h/4, w/4)."""

    def __init__(self) -> None:
        super().__init__()
        self.at2 = _step(3, 16, 3, 2)
        self.at4 = nn.Sequential(_step(16, 32, 3, 2), Residual(32))
        self.at8 = nn.Sequential(_step(32, 64, 3, 2), Residual(64), Residual(64))
        self.at16 = nn.Sequential(_step(64, 128, 3, 2), Residual(128), Residual(128))
        self.at32 = nn.Sequential(_step(128, 160, 3, 2), Residual(160), Residual(160))
        self.up32 = nn.Sequential(nn.Conv2d(160, 128, 1, bias=False), nn.BatchNorm2d(128))
        nn.init.zeros_(self.up32[1].weight)  # weights of before it was there begin as they were
        self.mix16 = Residual(128)
        nn.init.zeros_(self.mix16.second[1].weight)
        self.up16, self.side8, self.mix8 = _step(128, 64, 1), _step(64, 64, 1), _step(64, 64)
        self.up8, self.side4, self.mix4 = _step(64, 32, 1), _step(32, 32, 1), _step(32, 48)
        self.say = nn.Conv2d(48, FINDER_SAYS, 1)

    def forward(self, x: Tensor) -> Tensor:
        """See the class."""
        quarter = self.at4(self.at2(x))
        eighth = self.at8(quarter)
        sixteenth = self.at16(eighth)
        sixteenth = self.mix16(F.relu(sixteenth + _twice(self.up32(self.at32(sixteenth)))))
        eighth = self.mix8(self.side8(eighth) + _twice(self.up16(sixteenth)))
        outputs: Tensor = self.say(self.mix4(self.side4(quarter) + _twice(self.up8(eighth))))
        return outputs


class ReaderNet(nn.Module):
    """Crops (n, 3, 32, w), each about 0 with unit spread, to (n, 1 + signs, 1, w/4): blank first, logits."""

    def __init__(self) -> None:
        super().__init__()
        self.see = nn.Sequential(
            _step(3, 32), nn.MaxPool2d(2), _step(32, 48), nn.MaxPool2d(2), _step(48, 96), Residual(96),
            nn.MaxPool2d((2, 1)), _step(96, 160), Residual(160), _step(160, 256, (4, 1), 1, (0, 0)),
        )  # fmt: skip
        self.along = nn.Sequential(*[Along(256) for _ in range(3)])
        self.say = nn.Conv2d(256, 1 + len(SIGNS), 1)

    def forward(self, x: Tensor) -> Tensor:
        """See the class."""
        outputs: Tensor = self.say(self.along(self.see(x)))
        return outputs


class PointerNet(nn.Module):
    """Views (n, 5, s, s), s a multiple of 16, to (n, 3, s/2, s/2): log odds, up to a common number, that a place is
    what the code means; the same, as a mean, that this lies beyond the view; log odds that its line runs there."""

    def __init__(self) -> None:
        super().__init__()
        self.at2 = nn.Sequential(_step(5, 16, 3, 2), _step(16, 16))
        self.at4 = nn.Sequential(_step(16, 32, 3, 2), Residual(32))
        self.at8 = nn.Sequential(_step(32, 64, 3, 2), Residual(64), Residual(64))
        self.at16 = nn.Sequential(_step(64, 104, 3, 2), Residual(104), Residual(104))
        self.up16, self.side8, self.mix8 = _step(104, 64, 1), _step(64, 64, 1), _step(64, 64)
        self.up8, self.side4, self.mix4 = _step(64, 32, 1), _step(32, 32, 1), _step(32, 32)
        self.up4, self.side2, self.mix2 = _step(32, 24, 1), _step(16, 24, 1), _step(24, 24)
        self.say = nn.Conv2d(24, 3, 1)

    def hold(self) -> None:
        """Let the first two levels, which see strokes, learn nothing more."""
        for level in (self.at2, self.at4):
            level.requires_grad_(False)
            level.eval()

    def forward(self, x: Tensor) -> Tensor:
        """See the class."""
        half = self.at2(x)
        quarter = self.at4(half)
        eighth = self.at8(quarter)
        eighth = self.mix8(self.side8(eighth) + _twice(self.up16(self.at16(eighth))))
        quarter = self.mix4(self.side4(quarter) + _twice(self.up8(eighth)))
        outputs: Tensor = self.say(self.mix2(self.side2(half) + _twice(self.up4(quarter))))
        return outputs


def _twice(x: Tensor) -> Tensor:
    return F.interpolate(x, scale_factor=2.0, mode="nearest")

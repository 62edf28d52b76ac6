"""The network: depthwise-separable encoder to stride 32, light decoder back to stride 2.

Its last layer gives for every 2 x 2 block of pixels the three class scores of each of the four
pixels (12 channels, class first), so edges are placed by the pixel although nothing is computed
at full resolution.
"""

from dataclasses import dataclass

import torch
from torch import nn
from torch.nn import functional as nnf

CLASSES = ("other", "leaf", "stem")
STRIDE = 32
_KERNELS = (3, 3, 5, 5)


@dataclass(frozen=True)
class Form:
    """Sizes of a network: channels at strides 2, 4, 8, 16, 32, and blocks at strides 4 to 32."""

    widths: tuple[int, ...]
    depths: tuple[int, ...]


FIRST_FORM = Form((24, 32, 56, 96, 144), (2, 3, 4, 4))
FORM = Form((32, 48, 72, 112, 160), (3, 4, 4, 4))


def _unit(inputs: int, outputs: int, kernel: int = 1, stride: int = 1, *, depthwise: bool = False):
    return nn.Sequential(
        nn.Conv2d(
            inputs,
            outputs,
            kernel,
            stride,
            kernel // 2,
            groups=inputs if depthwise else 1,
            bias=False,
        ),
        nn.BatchNorm2d(outputs),
    )


class Block(nn.Module):
    """Depthwise and pointwise convolution with a shortcut round them."""

    def __init__(self, width: int, kernel: int):
        super().__init__()
        self.spread = _unit(width, width, kernel, depthwise=True)
        self.mix = _unit(width, width)
        nn.init.zeros_(self.mix[1].weight)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return nnf.relu(x + self.mix(nnf.relu(self.spread(x))))


class Halve(nn.Module):
    """Depthwise-separable convolution of stride 2."""

    def __init__(self, inputs: int, outputs: int):
        super().__init__()
        self.spread = _unit(inputs, inputs, 3, 2, depthwise=True)
        self.mix = _unit(inputs, outputs)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return nnf.relu(self.mix(nnf.relu(self.spread(x))))


class Double(nn.Module):
    """Bilinear enlargement by 2, joined with what the encoder saw at that stride."""

    def __init__(self, inputs: int, outputs: int, kernel: int):
        super().__init__()
        self.mix = _unit(inputs, outputs)
        self.block = Block(outputs, kernel)

    def forward(self, deep: torch.Tensor, shallow: torch.Tensor) -> torch.Tensor:
        enlarged = nnf.interpolate(
            self.mix(deep), scale_factor=2.0, mode="bilinear", align_corners=False
        )
        return self.block(nnf.relu(enlarged + shallow))


class TissueNet(nn.Module):
    """RGB in 0 to 1, shape (n, 3, h, w), multiples of 32 -> scores (n, 12, h/2, w/2)."""

    def __init__(self, form: Form = FORM):
        super().__init__()
        widths = form.widths
        self.first = _unit(3, widths[0], 3, 2)
        self.steps = nn.ModuleList(
            nn.Sequential(Halve(narrow, wide), *(Block(wide, kernel) for _ in range(depth)))
            for narrow, wide, depth, kernel in zip(
                widths[:-1], widths[1:], form.depths, _KERNELS, strict=True
            )
        )
        self.back = nn.ModuleList(
            Double(wide, narrow, 3)
            for wide, narrow in zip(widths[:0:-1], widths[-2::-1], strict=True)
        )
        self.last = nn.Conv2d(widths[0], 4 * len(CLASSES), 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = nnf.relu(self.first(x))
        seen = [x]
        for step in self.steps:
            seen.append(step(seen[-1]))
        x = seen.pop()
        for double in self.back:
            x = double(x, seen.pop())
        return self.last(x)


def class_scores(blocks: torch.Tensor) -> torch.Tensor:
    """(n, 12, h/2, w/2) as the network gives it -> (n, 3, h, w)."""
    return nnf.pixel_shuffle(blocks, 2)


def weight_count(net: nn.Module) -> int:
    """How many numbers training sets."""
    return sum(p.numel() for p in net.parameters())

"""What light and a phone do to a picture, on batches of crops in linear light (n, 3, h, w)."""

import torch
from torch.nn import functional as nnf

from tests.tissue_model.chance import Chance
from tests.tissue_model.fields import lattice, smooth_noise
from tests.tissue_model.light import luminance, to_srgb

# ITU-T T.81 (JPEG), tables K.1 and K.2
_LUMA_STEPS = [
    [16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55],
    [14, 13, 16, 24, 40, 57, 69, 56], [14, 17, 22, 29, 51, 87, 80, 62],
    [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92],
    [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99],
]  # fmt: skip
_CHROMA_STEPS = [
    [17, 18, 24, 47, 99, 99, 99, 99], [18, 21, 26, 66, 99, 99, 99, 99],
    [24, 26, 56, 99, 99, 99, 99, 99], [47, 66, 99, 99, 99, 99, 99, 99],
    [99, 99, 99, 99, 99, 99, 99, 99], [99, 99, 99, 99, 99, 99, 99, 99],
    [99, 99, 99, 99, 99, 99, 99, 99], [99, 99, 99, 99, 99, 99, 99, 99],
]  # fmt: skip
# ITU-R BT.601 luma and colour differences, as JFIF uses them
_TO_YCC = [[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]]


def lit(chance: Chance, picture: torch.Tensor) -> torch.Tensor:
    """Fall-off of lamps, edges of sun and shade, exposure, colour of the light."""
    n, _, size, _ = picture.shape
    along, _ = lattice(n, size, chance)
    slope = chance.scalar(0, 1.2, n) * _happens(chance, n, 0.5)
    picture = picture * torch.exp2(slope * (along - 0.5))
    picture = picture * _shadows(chance, n, size)
    strong = _happens(chance, n, 1 / 3)
    stops = chance.tensor(chance.decide.normal(0, 1, n)).view(n, 1, 1, 1)
    cast = chance.tensor(chance.decide.normal(0, 1, (n, 3, 1, 1)))
    picture = picture * torch.exp2(stops * (0.3 + 0.4 * strong))
    return picture * torch.exp2(cast * (0.07 + 0.25 * strong))


def _happens(chance: Chance, n: int, share: float) -> torch.Tensor:
    return chance.tensor(chance.decide.random(n) < share).view(n, 1, 1, 1)


def _shadows(chance: Chance, n: int, size: int) -> torch.Tensor:
    """Factor (n, 3, size, size): sharp or soft edged shade, a little bluer than the sun."""
    cells = int(2 ** chance.decide.uniform(0.3, 2.8))
    field = smooth_noise(chance, n, size, cells) + chance.scalar(-0.8, 0.8, n)
    shade = (field * chance.scalar(2, 40, n)).sigmoid() * _happens(chance, n, 0.28)
    depth = chance.scalar(0.15, 0.75, n)
    blue = chance.tensor([-1.0, 0.0, 1.0]).view(1, 3, 1, 1) * chance.scalar(-0.02, 0.12, n)
    return 1 - shade * (1 - depth * (1 + blue))


def gaussian(picture: torch.Tensor, sigma: torch.Tensor, reach: int = 8) -> torch.Tensor:
    """Blur every crop by its own standard deviation, (n,) px."""
    n, channels, height, width = picture.shape
    steps = torch.arange(-reach, reach + 1, device=picture.device, dtype=picture.dtype)
    taps = torch.exp(-0.5 * (steps / sigma.clamp_min(0.05).view(n, 1)) ** 2)
    taps = (taps / taps.sum(1, keepdim=True)).repeat_interleave(channels, 0)
    flat = nnf.pad(picture, (reach,) * 4, mode="reflect").reshape(
        1, n * channels, height + 2 * reach, -1
    )
    flat = nnf.conv2d(flat, taps.view(n * channels, 1, 1, -1), groups=n * channels)
    flat = nnf.conv2d(flat, taps.view(n * channels, 1, -1, 1), groups=n * channels)
    return flat.view(n, channels, height, width)


def focused(chance: Chance, picture: torch.Tensor) -> torch.Tensor:
    """Overall blur of lens and hand, and parts of the picture out of focus."""
    n, _, size, _ = picture.shape
    slight = chance.tensor(chance.decide.gamma(1.2, 0.55, n)).view(n)
    picture = gaussian(picture, slight.clamp_max(2.5))
    chosen = chance.some(n, 0.3)
    if len(chosen):
        at = chance.sent(chosen)
        far = gaussian(picture[at], chance.scalar(1.2, 5, len(chosen)).view(-1))
        field = smooth_noise(chance, len(chosen), size, int(chance.decide.integers(2, 5)))
        mix = (field * chance.scalar(1, 6, len(chosen))).sigmoid()
        picture[at] = picture[at] + mix * (far - picture[at])
    return picture


def developed(chance: Chance, picture: torch.Tensor) -> torch.Tensor:
    """Noise, saturation, tone curve, sharpening, JPEG: encoded sRGB 0 to 1 as a file holds it."""
    n, _, size, _ = picture.shape
    amount = chance.tensor(chance.decide.gamma(1.0, 0.02, n)).view(n, 1, 1, 1)
    grain = chance.normal(n, 3, size, size) * 0.6 + chance.normal(n, 1, size, size) * 0.6
    grain = gaussian(grain, chance.scalar(0.05, 0.9, n).view(-1), 3)
    picture = picture.clamp(0, 4) + amount * grain * (picture.clamp(0, 1) + 0.01).sqrt()
    grey = luminance(picture)
    spread = chance.tensor(chance.decide.normal(1.05, 0.2, n)).view(n, 1, 1, 1)
    picture = to_srgb((grey + spread * (picture - grey)).clamp(0, 1))
    gamma = torch.exp2(chance.tensor(chance.decide.normal(0, 0.2, n)).view(n, 1, 1, 1))
    picture = picture.clamp_min(1e-4) ** gamma
    bend = chance.scalar(-0.25, 0.6, n)
    picture = picture + bend * (picture * picture * (3 - 2 * picture) - picture)
    halo = picture - gaussian(picture, chance.scalar(0.6, 2.2, n).view(-1), 6)
    picture = picture + chance.scalar(0, 1.4, n) * _happens(chance, n, 0.5) * halo
    picture = compressed(chance, picture.clamp(0, 1))
    return (picture * 255).round().clamp(0, 255) / 255


def compressed(chance: Chance, picture: torch.Tensor) -> torch.Tensor:
    """Three quarters of the crops through JPEG's quantisation, blocks of 8 x 8 anywhere."""
    chosen = chance.some(len(picture), 0.75)
    if not len(chosen):
        return picture
    at = chance.sent(chosen)
    n = len(chosen)
    shift = tuple(int(s) for s in chance.decide.integers(0, 16, 2))
    colour = torch.tensor(_TO_YCC)
    back_again = torch.linalg.inv(colour).to(picture.device, non_blocking=True)
    colour = colour.to(picture.device, non_blocking=True)
    ycc = torch.einsum("ij,njhw->nihw", colour, torch.roll(picture[at], shift, (2, 3)) * 255)
    quality = chance.tensor(chance.decide.uniform(30, 96, n)).view(n, 1, 1, 1, 1, 1)
    scale = torch.where(
        quality < 50, 50 / quality, 2 - quality / 50
    )  # as libjpeg scales its tables
    luma = _quantised(ycc[:, :1] - 128, _LUMA_STEPS, scale) + 128
    small = _quantised(nnf.avg_pool2d(ycc[:, 1:], 2), _CHROMA_STEPS, scale)
    chroma = nnf.interpolate(small, scale_factor=2.0, mode="bilinear", align_corners=False)
    back = torch.einsum("ij,njhw->nihw", back_again, torch.cat([luma, chroma], 1))
    picture[at] = torch.roll(back, (-shift[0], -shift[1]), (2, 3)) / 255
    return picture.clamp(0, 1)


def _quantised(plane: torch.Tensor, steps: list[list[int]], scale: torch.Tensor) -> torch.Tensor:
    """Cosine transform of 8 x 8 blocks, rounded to the table's steps, and back."""
    n, channels, height, width = plane.shape
    k = torch.arange(8, device=plane.device, dtype=torch.float32)
    basis = torch.cos((2 * k.view(1, 8) + 1) * k.view(8, 1) * torch.pi / 16) / 2
    basis[0] /= 2**0.5
    blocks = plane.reshape(n, channels, height // 8, 8, width // 8, 8).permute(0, 1, 2, 4, 3, 5)
    table = (torch.tensor(steps).to(plane.device, non_blocking=True) * scale).clamp_min(1)
    waves = ((basis @ blocks @ basis.T) / table).round() * table
    blocks = basis.T @ waves @ basis
    return blocks.permute(0, 1, 2, 4, 3, 5).reshape(n, channels, height, width)

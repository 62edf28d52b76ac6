"""sRGB transfer function and plain colour arithmetic on tensors; linear light is 0 to 1."""

import torch

_LUMINANCE = (0.2126, 0.7152, 0.0722)  # Rec. 709 primaries, IEC 61966-2-1


def to_linear(srgb: torch.Tensor) -> torch.Tensor:
    """IEC 61966-2-1, encoded 0 to 1 -> linear."""
    srgb = srgb.clamp(0, 1)
    return torch.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def to_srgb(linear: torch.Tensor) -> torch.Tensor:
    """IEC 61966-2-1, linear -> encoded 0 to 1, clipped."""
    linear = linear.clamp(0, 1)
    curve = 1.055 * linear.clamp_min(0.0031308) ** (1 / 2.4) - 0.055
    return torch.where(linear <= 0.0031308, 12.92 * linear, curve)


def luminance(linear: torch.Tensor) -> torch.Tensor:
    """(n, 3, h, w) -> (n, 1, h, w)."""
    red, green, blue = (weight * linear[:, k : k + 1] for k, weight in enumerate(_LUMINANCE))
    return red + green + blue

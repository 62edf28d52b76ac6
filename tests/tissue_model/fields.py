"""Random fields that textures, light and blur are made of; shape (n, 1, size, size)."""

import torch
from torch.nn import functional as nnf

from tests.tissue_model.chance import Chance


def standardised(field: torch.Tensor) -> torch.Tensor:
    """Mean 0 and standard deviation 1 in every picture."""
    spread, mean = torch.std_mean(field, dim=(1, 2, 3), keepdim=True)
    return (field - mean) / (spread + 1e-6)


def smooth_noise(
    chance: Chance, n: int, size: int, cells: int, stretch: float = 1.0
) -> torch.Tensor:
    """Smooth noise with about this many bumps along y, and ``cells / stretch`` along x."""
    across = max(2, round(cells / stretch))
    grid = chance.normal(n, 1, min(size, max(2, cells)), min(size, across))
    return nnf.interpolate(grid, (size, size), mode="bicubic", align_corners=False)


def fractal_noise(
    chance: Chance, n: int, size: int, coarsest: int, persistence: tuple[float, float]
) -> torch.Tensor:
    """Octaves of smooth noise from ``coarsest`` bumps a side down to the pixel."""
    fall = chance.scalar(*persistence, n)
    total = torch.zeros(n, 1, size, size, device=chance.device)
    cells, weight = coarsest, torch.ones_like(fall)
    while cells < 2 * size:
        total += weight * smooth_noise(chance, n, size, cells)
        cells, weight = 2 * cells, weight * fall
    return standardised(total)


def lattice(n: int, size: int, chance: Chance) -> tuple[torch.Tensor, torch.Tensor]:
    """Coordinates 0 to 1 turned by a random angle, each (n, 1, size, size)."""
    line = (torch.arange(size, device=chance.device) + 0.5) / size - 0.5
    y, x = torch.meshgrid(line, line, indexing="ij")
    angle = chance.scalar(0, 2 * torch.pi, n)
    return x * angle.cos() + y * angle.sin() + 0.5, y * angle.cos() - x * angle.sin() + 0.5


def cells(chance: Chance, n: int, size: int, across: int) -> tuple[torch.Tensor, torch.Tensor]:
    """Random polygons: distance to the nearest border (0 to about 0.5 cell), and a value a cell.

    Nearest and second nearest of jittered points on a grid (cellular noise: Worley 1996, SIGGRAPH
    proceedings 291-294).
    """
    points = chance.uniform(0.05, 0.95, n, 2, across, across)
    values = chance.uniform(0, 1, n, 1, across, across)
    line = (torch.arange(size, device=chance.device) + 0.5) / size * across
    cell = line.long().clamp_max(across - 1)
    y, x = line.view(1, size, 1), line.view(1, 1, size)
    nearest = torch.full((n, size, size), 9.0, device=chance.device)
    second, value = nearest.clone(), torch.zeros_like(nearest)
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            row, column = (cell + dy) % across, (cell + dx) % across
            point = points[:, :, row][:, :, :, column]
            py = point[:, 0] + (cell + dy).view(1, size, 1)
            px = point[:, 1] + (cell + dx).view(1, 1, size)
            distance = torch.hypot(py - y, px - x)
            second = torch.minimum(second, torch.maximum(distance, nearest))
            here = values[:, 0, row][:, :, column]
            value = torch.where(distance < nearest, here, value)
            nearest = torch.minimum(nearest, distance)
    return (second - nearest).unsqueeze(1) / 2, value.unsqueeze(1)


def relief(chance: Chance, height: torch.Tensor, strength: tuple[float, float]) -> torch.Tensor:
    """Light from a random side over a height field, about 1 on the level; (n, 1, h, w)."""
    n = len(height)
    angle, amount = chance.scalar(0, 2 * torch.pi, n), chance.scalar(*strength, n)
    dx = height - torch.roll(height, 1, 3)
    dy = height - torch.roll(height, 1, 2)
    slope = standardised(dx * angle.cos() + dy * angle.sin())
    return (1 + amount * slope).clamp(0.1, 2.5)

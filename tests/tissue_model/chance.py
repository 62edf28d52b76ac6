"""Seeded random numbers: fields on the training device, decisions on the host."""

import numpy as np
import torch


class Chance:
    """Random numbers of one training run.

    Fields as large as a picture are drawn on the device; the few numbers that decide what is done
    to a crop are drawn by numpy, so that the device is never waited for.
    """

    def __init__(self, seed: int, device: torch.device):
        self.device = device
        self.fields = torch.Generator(device).manual_seed(seed)
        self.decide = np.random.default_rng(seed)

    def tensor(self, values) -> torch.Tensor:
        """Host numbers as float32 on the device."""
        return self.sent(np.asarray(values, np.float32))

    def sent(self, values: np.ndarray) -> torch.Tensor:
        """Host numbers on the device, which is not waited for."""
        return torch.from_numpy(np.ascontiguousarray(values)).to(self.device, non_blocking=True)

    def uniform(self, low: float, high: float, *shape: int) -> torch.Tensor:
        return torch.rand(shape, generator=self.fields, device=self.device) * (high - low) + low

    def normal(self, *shape: int) -> torch.Tensor:
        return torch.randn(shape, generator=self.fields, device=self.device)

    def scalar(self, low: float, high: float, n: int) -> torch.Tensor:
        """One number per crop, shape (n, 1, 1, 1)."""
        return self.tensor(self.decide.uniform(low, high, n)).view(n, 1, 1, 1)

    def some(self, n: int, share: float) -> np.ndarray:
        """Numbers of the crops, out of n, to which something with this chance happens."""
        return np.flatnonzero(self.decide.random(n) < share)

"""Cross-entropy on shares plus Dice; plant whose part is unknown counts as leaf or stem."""

import torch
from torch.nn import functional as nnf


def tissue_loss(scores: torch.Tensor, truth: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """Loss of scores (n, 3, h, w) against shares (n, 4, h, w: other, leaf, stem, unknown plant)."""
    log_p = nnf.log_softmax(scores, 1)
    p = log_p.exp()
    plant = torch.logsumexp(log_p[:, 1:], 1, keepdim=True)
    entropy = -(truth[:, :3] * log_p).sum(1, keepdim=True) - truth[:, 3:] * plant
    entropy = (weight * entropy).sum() / weight.sum().clamp_min(1)
    known = weight * (1 - truth[:, 3:])
    misses = (
        _miss(1 - p[:, :1], 1 - truth[:, :1], weight)
        + _miss(p[:, 1:2], truth[:, 1:2], known)
        + _miss(p[:, 2:3], truth[:, 2:3], known)
    )
    return entropy + misses / 3


def _miss(p: torch.Tensor, share: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """1 - Dice over the batch, with squares below the line (Milletari et al. 2016, 3DV)."""
    common = (weight * p * share).sum()
    return 1 - 2 * common / ((weight * (p * p + share * share)).sum() + 1)

"""Cross-entropy on shares plus Dice; plant whose part is unknown counts as leaf or stem.

Dice is taken of trays from above and of all other crops apart: from above stems are so small a part
of what is seen that they would hardly count beside those of the other views.
"""

import torch
from torch.nn import functional as nnf


def tissue_loss(
    scores: torch.Tensor, truth: torch.Tensor, weight: torch.Tensor, above: torch.Tensor
) -> torch.Tensor:
    """Loss of scores (n, 3, h, w) against shares (n, 4, h, w: other, leaf, stem, unknown plant).

    ``above`` (n,) is 1 for trays seen from above and 0 for the other crops.
    """
    log_p = nnf.log_softmax(scores, 1)
    p = log_p.exp()
    plant = torch.logsumexp(log_p[:, 1:], 1, keepdim=True)
    entropy = -(truth[:, :3] * log_p).sum(1, keepdim=True) - truth[:, 3:] * plant
    entropy = (weight * entropy).sum() / weight.sum().clamp_min(1)
    above = above.to(weight.dtype).view(-1, 1, 1, 1)
    groups = (above, 1 - above)
    held = [group.amax() for group in groups]
    misses = [_misses(p, truth, weight * group) for group in groups]
    return entropy + (misses[0] * held[0] + misses[1] * held[1]) / (held[0] + held[1])


def _misses(p: torch.Tensor, truth: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    known = weight * (1 - truth[:, 3:])
    return (
        _miss(1 - p[:, :1], 1 - truth[:, :1], weight)
        + _miss(p[:, 1:2], truth[:, 1:2], known)
        + _miss(p[:, 2:3], truth[:, 2:3], known)
    ) / 3


def _miss(p: torch.Tensor, share: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """1 - Dice over the batch, with squares below the line (Milletari et al. 2016, 3DV)."""
    common = (weight * p * share).sum()
    return 1 - 2 * common / ((weight * (p * p + share * share)).sum() + 1)

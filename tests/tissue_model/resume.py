"""Going on from a network that was exported: its weights read back, its norms set anew.

The exported file has every batch norm folded into its convolution. They are taken apart so that the
network gives the same scores as before and its norms have the statistics of today's crops. A
network of the first, smaller form is laid into one of today's, which then gives the same scores,
too (Chen, T., Goodfellow, I. & Shlens, J. 2016, "Net2Net: accelerating learning via knowledge
transfer", ICLR).
"""

from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import nn

from tests.tissue_model.network import FIRST_FORM, TissueNet


@torch.no_grad()
def load_exported(net: TissueNet, onnx_file: Path, crops: torch.Tensor) -> None:
    """Give ``net`` the weights of an exported network of the same form or of the first one.

    Parameters
    ----------
    net : the network to change, on the device of ``crops``
    onnx_file : what `export.write_onnx` wrote
    crops : (n, 3, h, w) encoded sRGB 0 to 1, as training sees them; they set the norms, and those
        that hold anything but numbers are left out

    Raises
    ------
    ValueError
        If the file holds another number of convolutions or another shape.
    """
    crops = crops[torch.isfinite(crops).all((1, 2, 3))]
    exported = _exported(onnx_file)
    pairs = _in_order(net, crops[:1])
    first = TissueNet(FIRST_FORM).to(crops.device)
    if len(exported) == len(_in_order(first, crops[:1])) < len(pairs):
        load_exported(first, onnx_file, crops)
        lay_into(net, first)
        return
    if len(exported) != len(pairs):
        msg = f"{onnx_file} has {len(exported)} convolutions, the network {len(pairs)}"
        raise ValueError(msg)
    for (weight, offset), (convolution, norm) in zip(exported, pairs, strict=True):
        if weight.shape != convolution.weight.shape:
            msg = (
                f"{onnx_file}: a convolution is {tuple(weight.shape)}, that of the network "
                f"{tuple(convolution.weight.shape)}"
            )
            raise ValueError(msg)
        convolution.weight.copy_(weight)
        if norm is None:
            convolution.bias.copy_(offset)
        else:
            norm.weight.fill_((1 + norm.eps) ** 0.5)
            norm.bias.copy_(offset)
            norm.running_mean.zero_()
            norm.running_var.fill_(1.0)
    _set_norms(net, [norm for _, norm in pairs if norm is not None], crops)


@torch.no_grad()
def lay_into(net: TissueNet, narrower: TissueNet) -> None:
    """Make ``net`` give the scores of a network with fewer channels and blocks.

    What is new in it keeps its random weights and is not heard at first: old channels take nothing
    from new ones, and new blocks add nothing.
    """
    known = narrower.state_dict()
    for name, value in net.state_dict().items():
        if name not in known or not value.is_floating_point():
            continue
        part = tuple(slice(length) for length in known[name].shape)
        if value.ndim == 4 and value.shape[1] > 1:
            value[part[0], known[name].shape[1] :] = 0
        value[part] = known[name]


def _exported(onnx_file: Path) -> list[tuple[torch.Tensor, torch.Tensor]]:
    """Weights and offsets of an exported network's convolutions, in the order of computing."""
    graph = onnx.load(str(onnx_file)).graph
    values = {v.name: torch.from_numpy(numpy_helper.to_array(v).copy()) for v in graph.initializer}
    return [
        (values[node.input[1]], values[node.input[2]])
        for node in graph.node
        if node.op_type == "Conv"
    ]


def _in_order(net: TissueNet, crop: torch.Tensor) -> list[tuple[nn.Conv2d, nn.BatchNorm2d | None]]:
    """Convolutions in the order in which they are computed, each with its norm."""
    seen: list[nn.Module] = []
    layers = [m for m in net.modules() if isinstance(m, nn.Conv2d | nn.BatchNorm2d)]
    hooks = [m.register_forward_hook(lambda m, _in, _out: seen.append(m)) for m in layers]
    net.eval()(crop)
    for hook in hooks:
        hook.remove()
    follows = [*seen[1:], None]
    return [
        (layer, after if isinstance(after, nn.BatchNorm2d) else None)
        for layer, after in zip(seen, follows, strict=True)
        if isinstance(layer, nn.Conv2d)
    ]


def _set_norms(net: TissueNet, norms: list[nn.BatchNorm2d], crops: torch.Tensor) -> None:
    """Statistics as they are on these crops, with the scores left as they were."""
    inputs: dict[nn.BatchNorm2d, torch.Tensor] = {}
    hooks = [m.register_forward_hook(lambda m, x, _out: inputs.update({m: x[0]})) for m in norms]
    net.eval()(crops)
    for hook in hooks:
        hook.remove()
    for norm in norms:
        spread, mean = torch.var_mean(inputs[norm].float(), (0, 2, 3))
        norm.running_var.copy_(spread)
        norm.running_mean.copy_(mean)
        norm.weight.copy_((spread + norm.eps).sqrt())
        norm.bias.add_(mean)

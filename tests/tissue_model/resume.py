"""Going on from a network that was exported: its weights read back, its norms set anew.

The exported file has every batch norm folded into its convolution. They are taken apart so that the
network gives the same scores as before and its norms have the statistics of today's crops.
"""

from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import nn

from tests.tissue_model.network import TissueNet


@torch.no_grad()
def load_exported(net: TissueNet, onnx_file: Path, crops: torch.Tensor) -> None:
    """Give ``net`` the weights of an exported network of the same form.

    Parameters
    ----------
    net : the network to change, on the device of ``crops``
    onnx_file : what `export.write_onnx` wrote
    crops : (n, 3, h, w) encoded sRGB 0 to 1, as training sees them; they set the norms

    Raises
    ------
    ValueError
        If the file holds another number of convolutions or another shape.
    """
    graph = onnx.load(str(onnx_file)).graph
    values = {v.name: torch.from_numpy(numpy_helper.to_array(v).copy()) for v in graph.initializer}
    exported = [node for node in graph.node if node.op_type == "Conv"]
    pairs = _in_order(net, crops[:1])
    if len(exported) != len(pairs):
        msg = f"{onnx_file} has {len(exported)} convolutions, the network {len(pairs)}"
        raise ValueError(msg)
    for node, (convolution, norm) in zip(exported, pairs, strict=True):
        weight, offset = (values[name] for name in node.input[1:3])
        if weight.shape != convolution.weight.shape:
            msg = f"{onnx_file}: {node.name} is {tuple(weight.shape)}, not that of the network"
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

"""Training by the clock: as many steps as fit, the rate of learning falls with the time left."""

import copy
import hashlib
import json
import math
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np
import torch

from tests.tissue_model import judge
from tests.tissue_model.augment import CropMaker
from tests.tissue_model.chance import Chance
from tests.tissue_model.export import recipe_hash, write_facts, write_onnx, write_parity
from tests.tissue_model.kinds import BROWN, RED
from tests.tissue_model.light import to_srgb
from tests.tissue_model.loss import tissue_loss
from tests.tissue_model.network import TissueNet, class_scores
from tests.tissue_model.resume import load_exported
from tests.tissue_model.scenes import TYPICAL_MM_PER_PX, PixelStore, Rendered, read_folder
from tests.tissue_model.textures import TextureBank, TextureMaker

_PEAK_RATE, _LAST_RATE, _WARM_UP = 4e-3, 2e-5, 0.06
_RESUMED_RATE = 2.5e-3  # at its peak, of a network that goes on learning
_DECAY = 0.02
_SMOOTHING = 0.998
_HELD_OUT = 12  # every twelfth scene judges and does not teach
_RENEW_EVERY = 4  # steps


@dataclass(frozen=True)
class Settings:
    """What a training run is told."""

    minutes: float
    seed: int
    leave_out: str
    start: str
    batch: int
    crop_px: int
    textures: int
    texture_px: int


def train(folders: list[Path], out: Path, settings: Settings) -> None:
    """Learn, judge and write ``out`` with .json, .parity.npz, .png, .log and .pt beside it."""
    begin = time.perf_counter()
    log = Log(out.with_suffix(".log"))
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(settings.seed)
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    photos = [photo for folder in folders for photo in read_folder(folder)]
    teach, held = split(photos, settings.leave_out)
    log(f"{device}; {len(teach)} photos to learn from, {len(held)} to judge by; "
        f"read in {time.perf_counter() - begin:.0f} s")  # fmt: skip
    chance = Chance(settings.seed, device)
    store = PixelStore(teach, device, settings.seed)
    bank = TextureBank(chance, settings.textures, settings.texture_px, 4)
    left_out = settings.leave_out
    maker = CropMaker(
        store, bank, chance, settings.crop_px, reds=left_out != RED, browns=left_out != BROWN
    )
    log(f"ready after {time.perf_counter() - begin:.0f} s")
    net, steps = _learn(maker, settings, log)
    torch.backends.cudnn.benchmark = False  # every photo to judge has its own size
    # Everything that the package needs is on disk before judging begins.
    torch.save(net.state_dict(), out.with_suffix(".pt"))
    example, _ = judge.as_measured(held[len(held) // 2], calibrated=True)
    exported = copy.deepcopy(net)
    write_parity(exported, example, out.with_suffix(".parity.npz"))
    write_onnx(exported, out)
    facts = {
        "onnx_sha256": hashlib.sha256(out.read_bytes()).hexdigest(),
        "settings": asdict(settings),
        "steps": steps,
        "photos": {"learned_from": len(teach), "judged_by": len(held)},
        "typical_mm_per_px": TYPICAL_MM_PER_PX,
    }
    recipe = recipe_hash(asdict(settings), teach)
    write_facts(net, out.with_suffix(".json"), recipe, facts)
    figures = {"plant_found_on_textures": _false_alarm(net, settings, device)}
    log(f"plant found on textures: {figures['plant_found_on_textures']}")
    predict = judge.prediction(net, device)
    sheet = judge.contact_sheet(predict, _spread(held, 24), calibrated=True)
    cv2.imwrite(str(out.with_suffix(".png")), sheet[..., ::-1])
    figures |= _judged(predict, held, log)
    write_facts(net, out.with_suffix(".json"), recipe, {**facts, "figures_mean_worst": figures})
    log(f"all done after {time.perf_counter() - begin:.0f} s")


def _judged(predict: judge.Predict, held: list[Rendered], log: "Log") -> dict:
    """Figures by view with and without calibration; the worst photos go to the log."""
    figures = {}
    for name, calibrated in (("calibrated", True), ("as_photographed", False)):
        rows = judge.judged(predict, held, calibrated=calibrated)
        figures[name] = judge.summary(rows)
        for view, table in figures[name].items():
            log(f"{name} {view} {json.dumps(table)}")
        for row in sorted(rows, key=lambda r: r["plant"])[:6]:
            log(json.dumps({k: round(v, 3) if isinstance(v, float) else v for k, v in row.items()}))
    return figures


def split(photos: list[Rendered], leave_out: str) -> tuple[list[Rendered], list[Rendered]]:
    """Photos to learn from and photos to judge by; a scene's photos stay together.

    With a crop or a kind of leaf left out, the scenes that show it alone judge.
    """
    if leave_out:
        return [p for p in photos if leave_out not in p.kinds], showing(photos, leave_out)
    names = sorted({p.scene for p in photos})
    judges = set(names[_HELD_OUT // 2 :: _HELD_OUT]) or {names[-1]}
    return [p for p in photos if p.scene not in judges], [p for p in photos if p.scene in judges]


def showing(photos: list[Rendered], kind: str) -> list[Rendered]:
    """Photos that show a crop or a kind of leaf."""
    shown = [p for p in photos if kind in p.kinds]
    if not shown:
        kinds = ", ".join(sorted(set().union(*(p.kinds for p in photos))))
        msg = f"no scene shows {kind!r}; there are {kinds}"
        raise SystemExit(msg)
    return shown


def _learn(maker: CropMaker, settings: Settings, log: "Log") -> tuple[TissueNet, int]:
    device = maker.store.device
    layout = _faster_layout(maker, settings, log)
    net = TissueNet().to(device, memory_format=layout)
    if settings.start:
        load_exported(net, Path(settings.start), maker.batch(settings.batch)[0])
    net.train()
    peak = _RESUMED_RATE if settings.start else _PEAK_RATE
    smooth = copy.deepcopy(net).eval()
    optimiser = torch.optim.AdamW(_groups(net), lr=_PEAK_RATE, fused=device.type == "cuda")
    begin, step, shown, losses = time.perf_counter(), 0, 0.0, []
    while (progress := (time.perf_counter() - begin) / (60 * settings.minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = _rate(progress, peak)
        losses.append(_step(net, optimiser, maker, settings.batch, layout))
        _follow(smooth, net, min(_SMOOTHING, (step + 1) / (step + 10)))
        step += 1
        if step % _RENEW_EVERY == 0:
            maker.bank.renew()
        if len(losses) == 50:
            # The loss is read only now and then: reading it waits for the device.
            mean = float(torch.stack(losses).mean())
            losses.clear()
            if not math.isfinite(mean):
                msg = f"The loss is {mean} after {step} steps: the weights are spoilt for good."
                raise SystemExit(msg)
            if progress - shown > 0.04:
                shown = progress
                log(f"{progress:5.0%} step {step} loss {mean:.4f}")
    log(f"{step} steps of {settings.batch} crops in {time.perf_counter() - begin:.0f} s")
    return smooth.to(memory_format=torch.contiguous_format), step


def _rate(progress: float, peak: float) -> float:
    if progress < _WARM_UP:
        return peak * (0.05 + 0.95 * progress / _WARM_UP)
    fall = (progress - _WARM_UP) / (1 - _WARM_UP)
    return _LAST_RATE + (peak - _LAST_RATE) * (1 + math.cos(math.pi * fall)) / 2


def _groups(net: TissueNet) -> list[dict]:
    """Weights of convolutions decay, those of norms and offsets do not."""
    flat = [p for p in net.parameters() if p.ndim == 1]
    full = [p for p in net.parameters() if p.ndim > 1]
    return [{"params": full, "weight_decay": _DECAY}, {"params": flat, "weight_decay": 0.0}]


def _step(net, optimiser, maker: CropMaker, batch: int, layout) -> torch.Tensor:
    picture, truth, weight, above = maker.batch(batch)
    # A crop whose making divided by nothing must not spoil the weights for good.
    sound = torch.isfinite(picture).all((1, 2, 3)) & torch.isfinite(truth).all((1, 2, 3))
    sound = (sound & torch.isfinite(weight).all((1, 2, 3))).view(-1, 1, 1, 1)
    picture, truth = torch.nan_to_num(picture, 0.0, 1.0, 0.0), torch.nan_to_num(truth, 0.0)
    weight = torch.nan_to_num(weight, 0.0) * sound
    with torch.autocast(picture.device.type, torch.bfloat16, enabled=picture.is_cuda):
        blocks = net(picture.contiguous(memory_format=layout))
    loss = tissue_loss(class_scores(blocks.float()), truth, weight, above)
    optimiser.zero_grad(set_to_none=True)
    loss.backward()
    for parameter in net.parameters():
        torch.nan_to_num_(parameter.grad, 0.0, 0.0, 0.0)
    torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
    optimiser.step()
    return loss.detach()


@torch.no_grad()
def _follow(smooth: TissueNet, net: TissueNet, keep: float) -> None:
    """Exponential mean of weights and of the norms' statistics."""
    ours, theirs = smooth.state_dict(), net.state_dict()
    floats = [k for k in ours if ours[k].is_floating_point()]
    torch._foreach_lerp_([ours[k] for k in floats], [theirs[k] for k in floats], 1 - keep)


def _faster_layout(maker: CropMaker, settings: Settings, log: "Log") -> torch.memory_format:
    """Which of two orders of the channels this device computes faster, by trying."""
    if maker.store.device.type == "cpu":
        return torch.contiguous_format
    times = {}
    for layout in (torch.contiguous_format, torch.channels_last):
        net = TissueNet().to(maker.store.device, memory_format=layout).train()
        optimiser = torch.optim.AdamW(net.parameters(), lr=0.0)
        for step in range(12):
            if step == 4:
                torch.cuda.synchronize()
                begin = time.perf_counter()
            _step(net, optimiser, maker, settings.batch, layout)
        torch.cuda.synchronize()
        times[layout] = (time.perf_counter() - begin) / 8
    begin = time.perf_counter()
    for _ in range(4):
        maker.batch(settings.batch)
    torch.cuda.synchronize()
    crops = (time.perf_counter() - begin) / 4
    peak = torch.cuda.max_memory_allocated() / 2**30
    log(f"seconds a step {times}, of which making crops {crops:.3f}; peak {peak:.1f} GiB")
    return min(times, key=times.get)


@torch.no_grad()
def _false_alarm(net: TissueNet, settings: Settings, device: torch.device) -> float:
    """Share of plant that is found on pictures of textures alone, never seen before."""
    maker = TextureMaker(Chance(settings.seed + 1, device), settings.texture_px)
    shares = []
    for _ in range(24):
        picture = to_srgb(maker.make(2))
        shares.append(1 - class_scores(net(picture)).softmax(1)[:, 0].mean())
    return round(float(torch.stack(shares).mean()), 5)


def _spread(photos: list[Rendered], count: int) -> list[Rendered]:
    chosen = np.unique(np.linspace(0, len(photos) - 1, count).round().astype(int))
    return [photos[k] for k in chosen]


class Log:
    """Lines to the terminal and to a file."""

    def __init__(self, path: Path):
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("", encoding="utf-8")

    def __call__(self, line: str) -> None:
        print(line, flush=True)  # noqa: T201
        with self.path.open("a", encoding="utf-8") as file:
            file.write(line + "\n")

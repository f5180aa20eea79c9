"""Trains the finder on drawings that are made as it learns.

    python3 train.py --rounds 1000 --seed 1 --out out [--from out/finder.pt]

A round draws one batch and takes four steps, each on half of the new batch and as many older drawings, mirrored and
recoloured. `--minutes` fixes the number of rounds by what the first ones took, and prints it.
"""
import argparse
import copy
import math
import os
import time

import torch
import torch.nn.functional as F

import draw
import net

SHAPES = [(384, 512), (512, 384), (320, 512), (512, 512)]
# steps taken on each newly drawn batch; rounds after which `--minutes` is turned into a number of rounds
STEPS, TIMED = 4, 60


def halved(labels):
    """Labels at the size of the maps; a line loses height when halved and is given some of it back."""
    mean = F.avg_pool2d(labels, 2)
    return torch.cat([0.5 * (mean[:, :1] + F.max_pool2d(labels[:, :1], 2)), mean[:, 1:]], 1)


class Drawn:
    """The drawings of one shape so far, newest last; the oldest are written over."""

    def __init__(self, shape, device, room):
        h, w = shape
        self.img = torch.zeros(room, 3, h, w, dtype=torch.uint8, device=device)
        self.target = torch.zeros(room, 4, h // 2, w // 2, dtype=torch.uint8, device=device)
        self.weights = torch.zeros(room, 4, 1, 1, device=device)
        self.count = 0

    def put(self, img, labels, weights):
        n, room = len(img), len(self.img)
        at = torch.arange(self.count, self.count + n, device=img.device) % room
        self.img[at] = (img * 255).round().to(torch.uint8)
        self.target[at] = (halved(labels) * 255).round().to(torch.uint8)
        self.weights[at] = weights
        self.count += n

    def take(self, number, newest, gen):
        """`number` drawings, half of them among the `newest` last ones."""
        dev, room = self.img.device, len(self.img)
        new = self.count - 1 - torch.randint(0, newest, (number // 2,), device=dev, generator=gen)
        old = torch.randint(max(0, self.count - room), self.count, (number - number // 2,), device=dev, generator=gen)
        at = torch.cat([new, old]) % room
        img, target = self.img[at].float() / 255, self.target[at].float() / 255
        for axis in (2, 3):
            turn = (torch.rand(number, 1, 1, 1, device=dev, generator=gen) < 0.5).float()
            img = img + turn * (img.flip(axis) - img)
            target = target + turn * (target.flip(axis) - target)
        gain = 1 + 0.12 * torch.randn(number, 3, 1, 1, device=dev, generator=gen)
        power = torch.exp(0.2 * torch.randn(number, 1, 1, 1, device=dev, generator=gen))
        img = (img.clamp_min(1e-4) ** power * gain).clamp(0, 1)
        return img, target, self.weights[at]


def loss_of(logits, target, weights):
    bce = F.binary_cross_entropy_with_logits(logits, target, reduction="none")
    p = torch.sigmoid(logits)
    focus = 0.25 + (p.detach() - target).abs()
    emphasis = torch.tensor([6.0, 0.5, 3.0, 1.5], device=logits.device).view(1, 4, 1, 1)
    rise = torch.tensor([3.0, 0.0, 3.0, 1.0], device=logits.device).view(1, 4, 1, 1)
    one = (bce * focus * (1 + rise * target) * emphasis * weights).mean()
    both = (p * target).sum((2, 3))
    dice = 1 - (2 * both + 1) / ((p * p).sum((2, 3)) + (target * target).sum((2, 3)) + 1)
    shown = (target.amax((2, 3)) > 0.3).float() * weights[:, :, 0, 0]
    share = torch.tensor([0.3, 0.05, 0.1, 0.1], device=logits.device)
    return 4 * one + (dice * shown * share).sum(1).mean()


@torch.no_grad()
def judge(model, device, number=256):
    """IoU of each map at one half, on drawings of another seed."""
    gen = torch.Generator(device=device).manual_seed(424242)
    inter, union = torch.zeros(4, device=device), torch.zeros(4, device=device)
    for _ in range(number // 64):
        img, labels, weights, _ = draw.batch(64, 384, 512, device, gen)
        p = torch.sigmoid(model(img)) > 0.5
        t = F.max_pool2d(labels, 2) > 0.5
        seen = weights > 0.5
        inter += (p & t & seen).sum((0, 2, 3))
        union += ((p | t) & seen).sum((0, 2, 3))
    return (inter / union.clamp_min(1)).tolist()


def main():
    arg = argparse.ArgumentParser()
    arg.add_argument("--minutes", type=float)
    arg.add_argument("--rounds", type=int, default=1000)
    arg.add_argument("--seed", type=int, default=1)
    arg.add_argument("--batch", type=int, default=64)
    arg.add_argument("--rate", type=float, default=2e-3)
    arg.add_argument("--out", default="out")
    arg.add_argument("--from", dest="start")
    arg = arg.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(arg.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    gen = torch.Generator(device=device).manual_seed(arg.seed)
    model = net.Finder().to(device)
    if arg.start:
        model.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in torch.load(arg.start, map_location=device).items()})
    kept = copy.deepcopy(model)
    steer = torch.optim.AdamW(model.parameters(), lr=arg.rate, weight_decay=1e-3)
    pools = [Drawn(shape, device, 8192 if device == "cuda" else 64) for shape in SHAPES]
    os.makedirs(arg.out, exist_ok=True)
    began, step, rounds = time.time(), 0, arg.rounds

    def keep_state():
        torch.save({k: v.half() if v.is_floating_point() else v for k, v in kept.state_dict().items()}, f"{arg.out}/finder.pt")

    round_ = 0
    while round_ < rounds:
        if arg.minutes and round_ == TIMED:
            rounds = TIMED + int((60 * arg.minutes - (time.time() - began)) / (time.time() - warm) * (TIMED - 20))
            print("rounds", rounds, flush=True)
        if round_ == 20:
            warm = time.time()
        done = 0 if round_ < TIMED else round_ / rounds
        pool = pools[round_ % len(pools)]
        with torch.no_grad():
            img, labels, weights, _ = draw.batch(arg.batch, *SHAPES[round_ % len(pools)], device, gen)
            pool.put(img, labels, weights)
        for _ in range(STEPS):
            rate = arg.rate * min(1, (step + 1) / 200) * (0.5 * (1 + math.cos(math.pi * done)) + 0.005)
            for group in steer.param_groups:
                group["lr"] = rate
            with torch.no_grad():
                img, target, weights = pool.take(arg.batch, len(labels), gen)
            model.train()
            with torch.autocast(device, dtype=torch.bfloat16):
                logits = model(img.contiguous(memory_format=torch.channels_last))
            loss = loss_of(logits.float(), target, weights)
            steer.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
            steer.step()
            with torch.no_grad():
                keep = min(0.998, step / (step + 10))
                for a, b in zip(kept.state_dict().values(), model.state_dict().values()):
                    if a.is_floating_point():
                        a.lerp_(b, 1 - keep)
                    else:
                        a.copy_(b)
            step += 1
        round_ += 1
        if round_ in (20, 100) or round_ % 250 == 0:
            kept.eval()
            ious = [round(v, 3) for v in judge(kept, device)]
            print(f"{time.time() - began:6.0f} s  round {round_}  step {step}  loss {loss.item():.4f}  IoU {dict(zip(net.MAPS, ious))}", flush=True)
            keep_state()
    kept.eval()
    print("steps", step, "IoU", judge(kept, device, 512))
    keep_state()
    net.write_onnx(kept, f"{arg.out}/finder.onnx")


if __name__ == "__main__":
    main()

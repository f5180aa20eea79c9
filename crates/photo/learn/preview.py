"""Draws some pictures with their labels and writes a sheet: `python3 preview.py sheet.jpg --seed 7`.

With `--each folder` it also writes every picture as `NNN.jpg` with its truth in `truth.json`.
"""
import argparse
import json
import os

import torch
from PIL import Image

import draw


def write_each(folder, img, labels, truth):
    """Truth in pixels: centre, semi-axes, part of the ring's line that is visible, bulb, gun."""
    os.makedirs(folder, exist_ok=True)
    entries = {}
    for k, (picture, label, t) in enumerate(zip(img, labels, truth.tolist())):
        Image.fromarray((picture.permute(1, 2, 0).cpu().numpy() * 255).astype("uint8")).save(f"{folder}/{k:03}.jpg", quality=97)
        line = (label[0] > 0.5).float().sum().item()
        entries[f"{k:03}.jpg"] = {"beam": t[0] > 0.5 and line > 0, "centre_px": t[1:3], "semi_axes_px": t[3:5],
                                  "arc": t[6], "line_cells": line, "bulb_px": t[7:10], "gun_px": t[10:12]}
    with open(f"{folder}/truth.json", "w") as file:
        json.dump(entries, file, indent=1)


def main():
    arg = argparse.ArgumentParser()
    arg.add_argument("sheet")
    arg.add_argument("--seed", type=int, default=7)
    arg.add_argument("--number", type=int, default=24)
    arg.add_argument("--each")
    arg = arg.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    gen = torch.Generator(device=device).manual_seed(arg.seed)
    img, labels, _, truth = draw.batch(arg.number, 384, 512, device, gen)
    if arg.each:
        write_each(arg.each, img, labels, truth)
    marks = torch.stack([labels[:, 0], 0.5 * labels[:, 1] + 0.5 * labels[:, 2], labels[:, 3]], 1)
    both = torch.cat([img, marks], 2)
    rows = [torch.cat(list(both[i:i + 6]), 2) for i in range(0, arg.number, 6)]
    sheet = (torch.cat(rows, 1).permute(1, 2, 0).cpu().numpy() * 255).astype("uint8")
    Image.fromarray(sheet).resize((sheet.shape[1] * 2 // 3, sheet.shape[0] * 2 // 3)).save(arg.sheet, quality=88)


if __name__ == "__main__":
    main()

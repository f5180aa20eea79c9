"""Draws some pictures with their labels and writes a sheet: `python3 preview.py sheet.jpg --seed 7`."""
import argparse

import torch
from PIL import Image

import draw


def main():
    arg = argparse.ArgumentParser()
    arg.add_argument("sheet")
    arg.add_argument("--seed", type=int, default=7)
    arg.add_argument("--number", type=int, default=24)
    arg = arg.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    gen = torch.Generator(device=device).manual_seed(arg.seed)
    img, labels, _, _ = draw.batch(arg.number, 384, 512, device, gen)
    marks = torch.stack([labels[:, 0], 0.5 * labels[:, 1] + 0.5 * labels[:, 2], labels[:, 3]], 1)
    both = torch.cat([img, marks], 2)
    rows = [torch.cat(list(both[i:i + 6]), 2) for i in range(0, arg.number, 6)]
    sheet = (torch.cat(rows, 1).permute(1, 2, 0).cpu().numpy() * 255).astype("uint8")
    Image.fromarray(sheet).resize((sheet.shape[1] * 2 // 3, sheet.shape[0] * 2 // 3)).save(arg.sheet, quality=88)


if __name__ == "__main__":
    main()

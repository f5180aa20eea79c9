"""Random drawings of a bench as phones photograph it, with where beam, bulb, gun and scale lie: every batch is new.

Everything is drawn for a whole batch at once from formulas: nothing is read from a file. Lengths are in pixels of the
reduced picture (long side 512), light is linear until `camera`.
"""
import math

import torch
import torch.nn.functional as F

TAU = 2 * math.pi
LONG = 512


class Draw:
    """A batch of pictures under way: `img` [B, 3, H, W] linear light, `labels` [B, 4, H, W] (beam, bulb, gun, scale)."""

    def __init__(self, batch, height, width, device, generator):
        self.b, self.h, self.w, self.dev, self.gen = batch, height, width, device, generator
        self.y, self.x = torch.meshgrid(
            torch.arange(height, device=device, dtype=torch.float32),
            torch.arange(width, device=device, dtype=torch.float32), indexing="ij")
        self.img = torch.zeros(batch, 3, height, width, device=device)
        self.masks = {}  # labels drawn so far: what is laid over hides them

    # random numbers, one a picture, shaped [B, 1, 1] to stand beside [H, W]
    def u(self, lo=0.0, hi=1.0):
        return lo + (hi - lo) * torch.rand(self.b, 1, 1, device=self.dev, generator=self.gen)

    def lu(self, lo, hi):
        return torch.exp(self.u(math.log(lo), math.log(hi)))

    def n(self):
        return torch.randn(self.b, 1, 1, device=self.dev, generator=self.gen)

    def flag(self, p):
        return (self.u() < p).float()

    def colour(self, saturation):
        """Random colour, mean 1 over the channels; `saturation` 0 grey to 1."""
        c = torch.rand(self.b, 3, 1, 1, device=self.dev, generator=self.gen)
        c = c / c.mean(1, keepdim=True).clamp_min(0.1)
        s = saturation if torch.is_tensor(saturation) else torch.full((self.b, 1, 1), saturation, device=self.dev)
        return 1 + s[:, None] * (c - 1)

    def noise(self, ny, nx, channels=1, mode="bilinear"):
        """Random field 0 to 1, `ny × nx` cells over the picture."""
        t = torch.rand(self.b, channels, ny, nx, device=self.dev, generator=self.gen)
        kw = {} if mode == "nearest" else {"align_corners": False}
        return F.interpolate(t, (self.h, self.w), mode=mode, **kw)

    # painting
    def over(self, alpha, colour):
        """Lays an opaque colour [B, 3, 1|H, 1|W] over with coverage `alpha` [B, H, W]."""
        self.img = self.img + alpha[:, None] * (colour - self.img)
        for name, mask in self.masks.items():
            self.masks[name] = mask * (1 - alpha)

    def add(self, light, colour):
        self.img = self.img + light[:, None] * colour

    def local(self, cx, cy, angle):
        """Coordinates turned by `angle` about (cx, cy)."""
        c, s = torch.cos(angle), torch.sin(angle)
        dx, dy = self.x - cx, self.y - cy
        return dx * c + dy * s, dy * c - dx * s

    def anywhere(self, margin=0.0):
        return self.u(-margin * self.w, (1 + margin) * self.w), self.u(-margin * self.h, (1 + margin) * self.h)


def cover(signed, soft=0.8):
    """Coverage of a pixel whose centre lies `signed` inside (negative) or outside an edge."""
    return (0.5 - signed / soft).clamp(0, 1)


def box(x, y, half_x, half_y):
    return torch.maximum(x.abs() - half_x, y.abs() - half_y)


def lerp(a, b, t):
    return a + (b - a) * t


def where(f, a, b):
    return f * a + (1 - f) * b


# ---------------------------------------------------------------- room

def textured(d, colour, level, rough):
    """A surface colour with blotches of several sizes."""
    t = torch.ones(d.b, 1, d.h, d.w, device=d.dev)
    for cells in (3, 12, 50, 150):
        t = t * (1 + rough[:, None] * d.u(0, 0.7)[:, None] * (d.noise(cells, cells) - 0.5))
    return colour * level[:, None] * t


def room(d, ambient):
    wall = textured(d, d.colour(d.u(0, 0.35)), ambient * d.lu(0.25, 1.2), d.u(0, 1.2))
    # light falls off to one side
    gx, gy = d.n() / d.w, d.n() / d.h
    wall = wall * torch.exp(0.8 * (gx * (d.x - d.w / 2) + gy * (d.y - d.h / 2)))[:, None]
    d.img = wall
    # tiles or bricks
    x, y = d.local(*d.anywhere(), d.n() * 0.12)
    y = y * (1 + d.u(-1e-3, 1e-3) * x)
    tx, ty, gap = d.lu(12, 90), d.lu(8, 60), d.lu(0.4, 2.0)
    row = torch.floor(y / ty)
    x = x + d.flag(0.5) * 0.5 * tx * (row % 2)
    edge = torch.minimum((x / tx - torch.round(x / tx)).abs() * tx, (y / ty - torch.round(y / ty)).abs() * ty)
    d.over(d.flag(0.3) * cover(edge - gap), d.colour(0.2) * (ambient * d.lu(0.1, 2.0))[:, None])
    # a white page, as in a catalogue or a report
    d.img = where(d.flag(0.06)[:, None], torch.ones_like(d.img) * d.u(0.5, 1.3)[:, None], d.img)
    # table
    x, y = d.local(d.w / 2 * d.u(0.5, 1.5), d.h * d.u(0.45, 1.05), d.n() * 0.08)
    streak = 1 + d.u(0, 0.6)[:, None] * (d.noise(120, 4) - 0.5)
    table = d.colour(d.u(0, 0.6)) * (ambient * d.lu(0.03, 1.0))[:, None] * streak
    d.over(d.flag(0.75) * cover(-y), table)


def furniture(d, ambient, number):
    """Rectangles: boxes, panels, windows, papers; some with writing on them."""
    for i in range(number):
        cx, cy = d.anywhere(0.1)
        x, y = d.local(cx, cy, d.n() * 0.07 + d.flag(0.15) * d.u(0, TAU))
        x = x + d.u(-0.25, 0.25) * d.flag(0.3) * y
        a, b = d.lu(4, 150), d.lu(3, 110)
        s = box(x, y, a, b)
        lamp = d.flag(0.08)
        level = where(lamp, d.lu(0.2, 3.0) * lerp(ambient, 1, 0.4), ambient * d.lu(0.02, 1.6))
        colour = d.colour(d.u(0, 1) * d.u(0, 1)) * level[:, None]
        colour = colour * (1 + d.u(0, 0.5) * x / a * d.n().clamp(-1, 1)).clamp(0.2, 2)[:, None]
        here = d.flag(0.45)
        d.over(here * cover(s), colour)
        rim = d.flag(0.4) * here * cover(s.abs() - d.lu(0.4, 4))
        d.over(rim, colour * d.lu(0.2, 3)[:, None])
        if i % 3 == 0:
            words = (d.noise(90, 130, mode="nearest") > 0.55).float()[:, 0]
            lines = (torch.sin(y * TAU / d.lu(5, 14)) > 0.2).float()
            d.over(here * d.flag(0.5) * cover(s + 0.25 * b) * words * lines, colour * d.lu(0.05, 4)[:, None])


def cables(d, ambient, number):
    for _ in range(number):
        x, y = d.local(*d.anywhere(), d.u(0, TAU))
        length = d.lu(30, 350)
        k1, k2 = TAU / d.lu(60, 500), TAU / d.lu(40, 200)
        p1, p2, a1, a2 = d.u(0, TAU), d.u(0, TAU), d.u(0, 1.2) / k1, d.u(0, 0.5) / k2
        f = a1 * torch.sin(k1 * x + p1) + a2 * torch.sin(k2 * x + p2)
        slope = a1 * k1 * torch.cos(k1 * x + p1) + a2 * k2 * torch.cos(k2 * x + p2)
        s = torch.maximum((y - f).abs() / torch.sqrt(1 + slope * slope) - d.lu(0.4, 3.5), x.abs() - length)
        colour = d.colour(d.u(0, 1.2)).clamp_min(0) * (ambient * d.lu(0.01, 1.5))[:, None]
        d.over(d.flag(0.5) * cover(s), colour)


def round_things(d, ambient, number, near=None, lamps=0.22):
    """Discs, cups, clocks, plates, knobs, lamps in a ring, loops of wire: round, and not the beam."""
    for _ in range(number):
        cx, cy = d.anywhere(0.05)
        r = d.lu(4, 170)
        if near is not None:
            cx, cy = near[0] + d.n() * near[2] * 0.25, near[1] + d.n() * near[2] * 0.25
            r = near[2] * d.lu(0.3, 1.6)
        x, y = d.local(cx, cy, d.u(0, TAU))
        rho = torch.sqrt(x * x + (y / d.u(0.35, 1.0)) ** 2 + 1e-6)
        turn = torch.atan2(y, x)
        here = d.flag(0.35)
        disc = d.flag(0.5)
        colour = d.colour(d.u(0, 1.1) * d.u(0, 1)).clamp_min(0) * (ambient * d.lu(0.02, 1.6))[:, None]
        d.over(here * disc * cover(rho - r), colour)
        # an edge, in part or whole, lit by the room or shining itself
        lamp = d.flag(lamps)
        width = r * d.lu(0.02, 0.35)
        level = where(lamp, d.lu(0.15, 4.0), ambient * d.lu(0.03, 3.0))
        tint = where(lamp[:, None], lamp_colour(d), d.colour(d.u(0, 0.8) * d.u(0, 1)).clamp_min(0))
        part = (torch.cos(turn) + d.u(-0.9, 3)).clamp(0, 1)
        line = where(d.flag(0.5), cover((rho - r).abs() - width / 2), torch.exp(-((rho - r) / (0.5 * width + 0.4)) ** 2))
        d.over(here * part * line * d.flag(0.8), tint * level[:, None])
        # marks of a clock or knob
        beats = (torch.cos(turn * torch.round(d.u(4, 60))) > 0.8).float() * cover((rho - 0.85 * r).abs() - 0.08 * r)
        d.over(here * d.flag(0.15) * beats, d.colour(0.2) * (ambient * d.lu(0.02, 2))[:, None])


def lamp_colour(d):
    """White, warm, red, green, amber: what lamps shine, and beams of these benches do not."""
    kinds = torch.tensor([[1, 1, 1], [1, .85, .6], [1, .1, .05], [.2, 1, .15], [1, .8, .1], [.95, 1, 1]], device=d.dev)
    pick = torch.randint(0, len(kinds), (d.b,), device=d.dev, generator=d.gen)
    return kinds[pick].view(d.b, 3, 1, 1)


SEGMENTS = [(0, -1, 1), (.5, -.5, 0), (.5, .5, 0), (0, 1, 1), (-.5, .5, 0), (-.5, -.5, 0), (0, 0, 1)]


def displays(d, number):
    """Red (sometimes green, amber, blue) seven-segment numbers and lights of supplies and meters."""
    for _ in range(number):
        cx, cy = d.anywhere()
        size = d.lu(3, 22)
        digits = torch.round(d.u(2.6, 4.4))
        x, y = d.local(cx, cy, d.n() * 0.06)
        x = x / size - 0.2 * y / size
        y = y / size
        cell = torch.floor(x / 1.5 + digits / 2)
        on_panel = ((cell >= 0) & (cell < digits)).float()
        lx = x - (cell - digits / 2 + 0.5) * 1.5
        bits = torch.rand(d.b, 7, 5, device=d.dev, generator=d.gen) > 0.35
        index = cell.clamp(0, 4).long().flatten(1)
        light = torch.zeros(d.b, d.h, d.w, device=d.dev)
        for k, (sx, sy, flat) in enumerate(SEGMENTS):
            s = box(lx - sx, y - sy, 0.42, 0.07) if flat else box(lx - sx, y - sy, 0.07, 0.42)
            lit = torch.gather(bits[:, k].float(), 1, index).view(d.b, d.h, d.w)
            light = torch.maximum(light, lit * cover(s * size, 1.2))
        here = d.flag(0.45)
        d.over(here * cover(box(x, y, digits, 1.6 + 0 * x) * size) * d.u(0, 1), d.colour(0.2) * d.lu(0.002, 0.05)[:, None])
        tint = where(d.flag(0.7)[:, None], torch.tensor([1, .05, .08], device=d.dev).view(1, 3, 1, 1), d.colour(1.0).clamp_min(0))
        d.add(here * on_panel * light * d.lu(0.3, 6), tint)
    for _ in range(5):
        cx, cy = d.anywhere()
        rho2 = (d.x - cx) ** 2 + (d.y - cy) ** 2
        r = d.lu(0.6, 4)
        glow = torch.exp(-rho2 / (2 * r * r)) + 0.03 * torch.exp(-rho2 / (2 * (6 * r) ** 2))
        d.add(d.flag(0.4) * d.lu(0.2, 8) * glow, d.colour(1.0).clamp_min(0.02))


# ---------------------------------------------------------------- bench

def coil(d, cx, cy, radius, thick, squash, tilt_axis, colour, level, here):
    x, y = d.local(cx, cy, tilt_axis)
    rho = torch.sqrt((x / squash) ** 2 + y * y + 1e-6)
    s = ((rho - radius).abs() - thick / 2) * squash
    turn = torch.atan2(y, x / squash)
    across = ((rho - radius) / thick)
    shade = (1 + d.u(-1, 1) * across + d.u(-0.5, 0.8) * torch.cos(turn + d.u(0, TAU))
             + d.u(0, 0.5) * torch.cos(across * d.u(6, 40))).clamp(0.15, 3)
    d.over(here * cover(s), colour * (level * shade)[:, None])
    # thin lights along its edges
    for _ in range(2):
        at = radius + thick * d.u(-0.55, 0.55)
        line = torch.exp(-((rho - at) / d.lu(0.5, 2.5)) ** 2) * (torch.cos(turn + d.u(0, TAU)) + d.u(-0.8, 0.8)).clamp(0, 1)
        d.over(here * d.flag(0.6) * line * d.u(0.2, 1), lerp(colour, 1, 0.5) * (level * d.lu(0.5, 6))[:, None])
    # spokes, clamps
    clamps = (torch.cos(turn * torch.round(d.u(1, 4)) + d.u(0, TAU)) > 1 - d.lu(0.002, 0.05)).float() * cover(s - d.u(0, 4))
    d.over(here * d.flag(0.5) * clamps, d.colour(0.2) * (level * d.lu(0.2, 4))[:, None])


def scale_bar(d, ambient, place, here):
    """A ruler: a bar with marks in centimetres and below, and figures; gives its mask."""
    cx, cy, angle, half, high, self_lit, clear = place
    x, y = d.local(cx, cy, angle)
    s = box(x, y, half, high)
    mask = here * cover(s)
    level = where(self_lit, d.lu(0.1, 2.5), ambient * d.lu(0.25, 2.5))
    colour = d.colour(d.u(0, 0.7) * d.u(0, 1)).clamp_min(0) * level[:, None]
    d.over(mask * lerp(d.u(0.4, 1), d.u(0.05, 0.5), clear), colour)
    edge = here * cover((y - high * d.u(0.7, 1)).abs() - d.lu(0.3, 1.2)) * cover(x.abs() - half)
    d.over(edge * d.flag(0.5) * d.u(0.2, 1), colour * d.lu(0.3, 4)[:, None])
    ink = where(d.flag(0.8)[:, None], d.colour(0.3) * (level * d.lu(0.01, 0.4))[:, None], colour * d.lu(1.5, 6)[:, None])
    cm = d.lu(0.12, 0.5) * high * 2
    tick = torch.zeros(d.b, d.h, d.w, device=d.dev)
    for part, length, width in ((1, 1.0, 0.05), (0.5, 0.75, 0.04), (0.1, 0.5, 0.035)):
        step = cm * part
        off = (x / step - torch.round(x / step)).abs() * step
        contrast = ((step - 1.5) / 2).clamp(0, 1)
        tick = torch.maximum(tick, contrast * cover(off - width * cm, 1.0) * ((y / high) > 1 - 1.1 * length * d.u(0.5, 1)).float())
    cell = torch.round(x / cm)
    fx, fy = x / cm - cell, y / high
    glyph = (torch.sin(cell * 12.9 + fx * 23 + 5 * d.u(0, 6)) * torch.sin(cell * 7.7 + fy * 9 + 6 * d.u(0, 6)) > 0.1).float()
    glyph = glyph * ((fx.abs() < 0.3) & ((fy + 0.4).abs() < 0.28)).float()
    d.over(mask * torch.maximum(tick, d.flag(0.8) * glyph * 0.9), ink)
    # sliding pointers and pegs
    for _ in range(2):
        px = half * d.u(-1, 1)
        p = box(x - px, y - high * d.u(-1, 1), high * d.lu(0.1, 0.8), high * d.lu(0.8, 2.5))
        d.over(here * d.flag(0.35) * cover(p), d.colour(0.5).clamp_min(0) * (ambient * d.lu(0.02, 1))[:, None])
    return mask


def beam_colour(d):
    kinds = torch.tensor([[.05, .75, 1], [.1, 1, .85], [.15, .35, 1], [.3, .6, 1], [.45, .2, 1], [.6, .4, 1],
                          [1, .3, .75], [1, .45, .15], [.8, .85, 1], [.25, .9, 1], [0., .5, 1]], device=d.dev)
    pick = torch.randint(0, len(kinds), (d.b, 2), device=d.dev, generator=d.gen)
    t = d.u()[:, 0] ** 2
    return lerp(kinds[pick[:, 0]], kinds[pick[:, 1]], t).view(d.b, 3, 1, 1)


def arc_light(d, place, gas):
    """The beam's light and its centre line: `gas` holds how bright, wide, long and wound it is."""
    cx, cy, a, squash, axis = place
    x, y = d.local(cx, cy, axis)
    x = x / squash
    rho = torch.sqrt(x * x + y * y + 1e-6)
    turn = torch.atan2(y, x)
    # the true distance shrinks by the squash where the ellipse is narrow
    near = torch.sqrt((squash * torch.cos(turn)) ** 2 + torch.sin(turn) ** 2)
    s = torch.remainder((turn - gas["start"]) * gas["sense"], TAU) / TAU
    light = torch.zeros_like(rho)
    line = torch.zeros_like(rho)
    for k in (0, 1):
        along = s + k
        off = (rho - a * (1 + gas["wind"] * (along - 0.5 * gas["arc"]))) * near
        sigma = gas["sigma"] * (1 + gas["spread"] * along)
        inside = torch.where(off < 0, sigma * gas["lean"], sigma)
        end = gas["arc"] if k == 0 else gas["arc"] * gas["second_arc"] + 1
        shown = ((end - along) / gas["fade"]).clamp(0, 1) * ((along - k * 1.0 - gas["gap"]) / 0.01).clamp(0, 1)
        if k == 1:
            shown = shown * gas["second"] * gas["full"]
        bright = torch.exp(-gas["loss"] * along) * shown
        q = off / inside
        core = torch.exp(-0.5 * q * q) * (1 - gas["tail"]) + gas["tail"] / (1 + q * q)
        light = light + bright * (core + gas["halo"] * torch.exp(-off.abs() / (5 * sigma)))
        target = torch.exp(-0.5 * (off / (0.35 * gas["sigma"]).clamp(1.1, 4)) ** 2) * (bright / 0.12).clamp(0, 1)
        line = torch.maximum(line, target if k == 0 else target * (gas["second"] > 0.3).float())
    return light, line


def scene(d):
    """Draws bench and room; gives labels [B, 4, H, W], their weights [B, 4, 1, 1] and the rings' truth."""
    ambient = torch.where(d.u() < 0.45, d.lu(0.001, 0.03), d.lu(0.03, 0.9))
    room(d, ambient)
    furniture(d, ambient, 14)
    round_things(d, ambient, 4)
    cables(d, ambient, 5)
    displays(d, 3)

    # where the ring lies
    # a lit bench is often photographed without a beam
    has_beam, has_bulb = (d.u() < torch.where(ambient > 0.03, 0.66, 0.85)).float(), d.flag(0.95)
    a = LONG * d.lu(0.015, 0.40)
    a = torch.where(d.u() < 0.5, LONG * d.lu(0.025, 0.16), a)
    a = torch.minimum(a, 0.47 * torch.full_like(a, min(d.h, d.w)))
    cx, cy = a * 0.9 + d.u() * (d.w - 1.8 * a), a * 0.9 + d.u() * (d.h - 1.8 * a)
    squash = torch.cos(d.u(0, 0.62) * d.u() ** 0.5)
    axis = where(d.flag(0.75), d.n() * 0.15, d.u(0, TAU))
    bulb_r = a / d.u(0.28, 0.92)
    room_left = (bulb_r * 0.96 - a).clamp_min(0)
    away, way = room_left * d.u() ** 0.7, d.u(0, TAU)
    bx, by = cx + away * torch.cos(way), cy + away * torch.sin(way)

    # coils
    coil_r, thick = bulb_r * d.lu(1.0, 2.6), bulb_r * d.lu(0.08, 0.6)
    coil_colour = d.colour(d.u(0, 0.6)) * torch.where(d.u()[:, None] < 0.3, torch.tensor([1.3, .9, .5], device=d.dev).view(1, 3, 1, 1), torch.ones(1, 3, 1, 1, device=d.dev))
    coil_level = ambient * torch.where(d.u() < 0.5, d.lu(0.01, 0.15), d.lu(0.1, 1.5))
    tilt = torch.sqrt(1 - squash * squash)
    shift = 0.5 * coil_r * tilt * torch.sign(d.n())
    ox, oy = shift * torch.cos(axis), shift * torch.sin(axis)
    has_coil = d.flag(0.8)
    coil_squash = squash * d.u(0.93, 1.05)
    coil(d, bx + ox + d.n() * 4, by + oy + d.n() * 4, coil_r * d.u(0.82, 0.98), thick * 0.9, coil_squash, axis, coil_colour, coil_level, has_coil)
    # what carries them
    for _ in range(3):
        x, y = d.local(bx + coil_r * d.n() * 0.7, by + coil_r * d.u(0.5, 1.4), d.n() * 0.2)
        s = box(x, y, coil_r * d.lu(0.05, 0.9), coil_r * d.lu(0.03, 0.3))
        d.over(d.flag(0.5) * cover(s), d.colour(d.u(0, 0.6)) * (ambient * d.lu(0.02, 1))[:, None])

    gas_colour = beam_colour(d)
    peak = torch.maximum(d.lu(0.12, 8.0), ambient * d.lu(0.25, 3))
    down = d.n() * 0.25 + math.pi / 2 + d.flag(0.25) * d.u(0, TAU)

    # scale behind the bulb (or across, later)
    high = bulb_r * d.lu(0.03, 0.16)
    high = torch.maximum(high, torch.full_like(high, 1.5))
    lit, clear = d.flag(0.25), d.flag(0.4)
    place = [bx + d.n() * bulb_r * 0.25, by + d.n() * bulb_r * 0.35, d.n() * 0.12 + d.flag(0.15) * d.u(0, TAU),
             bulb_r * d.lu(0.6, 1.8), high, lit, clear]
    front = d.flag(0.35)
    has_scale = d.flag(0.6)
    stray = d.flag(0.15)
    place[0], place[1] = where(stray, d.u(0, d.w), place[0]), where(stray, d.u(0, d.h), place[1])
    d.masks["scale"] = scale_bar(d, ambient, place, has_scale * (1 - front))

    # bulb
    x, y = d.x - bx, d.y - by
    rho = torch.sqrt(x * x + (y * d.u(0.96, 1.04)) ** 2 + 1e-6)
    turn = torch.atan2(y, x)
    disc = has_bulb * cover(rho - bulb_r)
    d.img = d.img * (1 - disc * d.u(0, 0.35))[:, None]
    veil = ambient * d.lu(0.003, 0.25)
    d.add(disc * veil * (1 + d.n() * 0.3 * y / bulb_r).clamp(0, 3), d.colour(0.2))
    limb = torch.exp(-((rho - bulb_r * d.u(0.96, 1.0)) / (bulb_r * d.lu(0.006, 0.05) + 0.5)) ** 2)
    uneven = (1 + d.u(0, 1.2) * torch.cos(turn + d.u(0, TAU)) + d.u(0, 0.8) * torch.cos(2 * turn + d.u(0, TAU))).clamp(0, 3)
    limb_level = ambient * d.lu(0.01, 0.8) * has_bulb
    d.add(limb * uneven * limb_level, d.colour(0.3))
    d.img = d.img * (1 - has_bulb * d.flag(0.5) * d.u(0, 0.6) * limb)[:, None]
    # neck and base outside, stem and wires inside
    lx, ly = d.local(bx, by, down)
    base = torch.maximum((ly.abs() - bulb_r * d.u(0.12, 0.4)), (lx - bulb_r * d.u(1.0, 1.5)).abs() - bulb_r * d.u(0.1, 0.6))
    d.over(has_bulb * d.flag(0.75) * cover(base), d.colour(d.u(0, 0.7)) * (ambient * d.lu(0.02, 0.8))[:, None])
    gun_turn = where(d.flag(0.6), math.pi / 2 + axis + d.n() * 0.3, d.u(0, TAU))
    gx0, gy0 = a * torch.cos(gun_turn) * squash, a * torch.sin(gun_turn)
    ca, sa = torch.cos(axis), torch.sin(axis)
    gx, gy = cx + gx0 * ca - gy0 * sa, cy + gx0 * sa + gy0 * ca
    ex, ey = bx + bulb_r * torch.cos(down), by + bulb_r * torch.sin(down)
    wire_angle = torch.atan2(ey - gy, ex - gx)
    wire_len = torch.sqrt((ex - gx) ** 2 + (ey - gy) ** 2)
    wx, wy = d.local(gx, gy, wire_angle)
    for _ in range(4):
        s = torch.maximum((wy - bulb_r * d.n() * 0.06 - wx * d.n() * 0.05).abs() - d.lu(0.3, 1.5), (wx - wire_len / 2).abs() - wire_len / 2)
        d.over(has_bulb * d.flag(0.6) * cover(s), d.colour(0.3) * (ambient * d.lu(0.02, 2) + 0.03 * peak * d.u())[:, None])
    stem = torch.maximum((wy.abs() - bulb_r * d.u(0.04, 0.15)), (wx - wire_len).abs() - wire_len * d.u(0.1, 0.6))
    d.over(has_bulb * d.flag(0.5) * d.u(0.1, 0.9) * cover(stem), d.colour(0.2) * (ambient * d.lu(0.05, 1.5))[:, None])

    # beam
    start = gun_turn + 0
    arc = where(d.flag(0.55), d.u(0.85, 1.0), d.u(0.17, 1.0))
    gas = {
        "start": start, "sense": torch.sign(d.n()), "arc": arc, "full": (arc > 0.9).float(),
        "wind": d.flag(0.4) * d.n() * 0.03 + d.flag(0.08) * d.n() * 0.08,
        "sigma": (2 * a * d.lu(0.008, 0.12) / 2.355).clamp_min(0.55), "spread": d.flag(0.5) * d.u(0, 1.2),
        "lean": 1 + d.flag(0.5) * d.u(0, 1.6), "gap": d.u(0.0, 0.1), "fade": d.lu(0.01, 0.3),
        "loss": d.u(0, 2.2) * d.u(), "tail": d.u(0, 0.5) * d.flag(0.6), "halo": d.u(0, 0.35) * d.flag(0.7),
        "second": d.flag(0.25) * d.u(0.1, 0.7), "second_arc": d.u(0.1, 0.9),
    }
    light, line = arc_light(d, (cx, cy, a, squash, axis), gas)
    glow_from = torch.sqrt((d.x - cx) ** 2 + (d.y - cy) ** 2)
    inner = torch.exp(-(glow_from / (a * d.u(0.6, 1.8))) ** 2)
    fog = d.u() ** 2 * 0.5 * (where(d.flag(0.6), inner, torch.ones_like(inner)) * lerp(1, 0.4, (rho / bulb_r).clamp(0, 1) * d.flag(0.5)))
    fog = fog + d.flag(0.4) * d.u() ** 2 * 0.5 * cover(glow_from - a * 0.97, 4)
    shine = has_beam + (1 - has_beam) * d.flag(0.2) * d.u(0, 0.6)
    inside = where(has_bulb, disc, torch.exp(-(glow_from / (2.5 * a)) ** 4))
    fog_colour = lerp(gas_colour, 1, d.u(0, 0.5)[:, None]) * (0.6 + 0.8 * torch.rand(d.b, 3, 1, 1, device=d.dev, generator=d.gen))
    d.add(shine * peak * fog * inside, fog_colour)
    # glow scattered to the bulb's wall
    d.add(has_beam * peak * d.u() ** 3 * 0.3 * limb * uneven, gas_colour)

    # gun behind or before the beam
    tangent = torch.atan2(gy - cy, gx - cx) + math.pi / 2 + d.n() * 0.15
    ux, uy = d.local(gx, gy, tangent)
    size = torch.minimum(bulb_r * d.lu(0.05, 0.2), a * d.u(0.2, 0.7))
    gun_box = box(ux - size * d.u(-0.5, 0.5), uy - size * d.n() * 0.2, size, size * d.lu(0.25, 1.0))
    has_gun = has_bulb * d.flag(0.8)
    gun = has_gun * cover(gun_box)
    plates = 1 + d.u(0, 1.5) * torch.cos(ux / size * d.u(2, 14) + d.u(0, TAU))
    hull = d.colour(d.u(0, 0.5)) * ((ambient * d.lu(0.02, 1.2) + peak * has_beam * d.u() ** 2 * 0.15) * plates.clamp(0.1, 3))[:, None]
    before = d.flag(0.5)
    d.over(gun * (1 - before), hull)
    d.add(has_beam * peak * light, gas_colour)
    # stub of light from the muzzle
    stub = torch.exp(-0.5 * (uy / (gas["sigma"] * d.u(0.5, 1.5))) ** 2) * cover((ux - size * d.n()).abs() - size * d.u(0.3, 2.5), 3)
    d.add(has_beam * d.flag(0.4) * peak * d.u(0.2, 1.5) * stub * inside, gas_colour)
    d.over(gun * before * d.u(0.6, 1), hull)
    d.masks["line"] = has_beam * line * (1 - gun * before)
    d.masks["gun"] = gun
    spot = torch.exp(-((ux - size * d.n() * 0.4) ** 2 + uy ** 2) / (2 * (size * d.lu(0.05, 0.3) + 0.4) ** 2))
    fire = torch.tensor([1, .45, .12], device=d.dev).view(1, 3, 1, 1) + d.u(0, 0.5)[:, None] * torch.tensor([0, 1, 1], device=d.dev).view(1, 3, 1, 1)
    burning = has_gun * d.flag(0.6)
    d.add(burning * d.lu(0.1, 6) * spot, fire)

    # ghosts in the glass: small, mirrored, in part
    for _ in range(2):
        k = d.u(0.3, 1.1)
        gxc, gyc = bx - (cx - bx) * d.u(0.2, 1) + d.n() * 0.1 * bulb_r, by - (cy - by) * d.u(0.2, 1) + d.n() * 0.1 * bulb_r
        x, y = d.local(gxc, gyc, axis + d.u(0, TAU))
        gr = torch.sqrt((x / d.u(0.7, 1)) ** 2 + y * y + 1e-6)
        ghost = torch.exp(-0.5 * ((gr - a * k) / (gas["sigma"] * d.u(0.6, 2))) ** 2) * (torch.cos(torch.atan2(y, x)) + d.u(-0.7, 1)).clamp(0, 1)
        d.add(has_beam * d.flag(0.35) * peak * d.lu(0.01, 0.15) * ghost * inside, gas_colour)

    line = d.masks.pop("line")
    bar = scale_bar(d, ambient, place, has_scale * front)
    d.masks["scale"] = torch.maximum(d.masks["scale"], bar)
    # seen through the ruler the beam still shows: lay it over once more where the ruler is clear
    through = has_scale * front * lerp(d.u(0, 0.2), d.u(0.3, 1), clear) * bar
    d.add(has_beam * peak * light * through, gas_colour)
    d.masks["line"] = line * (1 - (1 - clear) * bar * 0.8)

    # windows and lamps mirrored in the bulb
    for _ in range(4):
        away, way = bulb_r * d.u(0.3, 0.95), d.u(0, TAU)
        hx, hy = d.local(bx + away * torch.cos(way), by + away * torch.sin(way), way + d.n() * 0.2)
        hx = hx + hy * hy / (2 * bulb_r) * d.u(0.3, 1.2)
        s = box(hx, hy, bulb_r * d.lu(0.01, 0.12) + 0.4, bulb_r * d.lu(0.02, 0.3) + 0.4)
        d.add(has_bulb * d.flag(0.45) * cover(s, 1.5) * lerp(ambient, 0.05, 0.2) * d.lu(0.1, 4), d.colour(0.4))
    for _ in range(4):
        at, wide = bulb_r * d.u(0.5, 1.0), bulb_r * d.lu(0.005, 0.04) + 0.4
        part = (torch.cos(turn + d.u(0, TAU)) - d.u(0.2, 0.95)).clamp(0, 0.2) * 5
        d.add(has_bulb * d.flag(0.5) * part * torch.exp(-((rho - at) / wide) ** 2) * ambient * d.lu(0.1, 8), d.colour(0.3))

    # rungs or pegs in the bulb
    px, py = d.local(bx + bulb_r * d.n() * 0.3, by, d.n() * 0.1 + d.flag(0.3) * math.pi / 2)
    step = bulb_r * d.lu(0.1, 0.4)
    rung = torch.maximum((py / step - torch.round(py / step)).abs() * step - d.lu(0.3, 1.5), px.abs() - bulb_r * d.lu(0.03, 0.2))
    d.over(disc * d.flag(0.15) * cover(rung), d.colour(0.4).clamp_min(0) * (ambient * d.lu(0.05, 2) + 0.1 * peak * d.u() * has_beam)[:, None])

    # near coil, things before the bench
    near_here = has_coil * d.flag(0.8)
    coil(d, bx - ox, by - oy, coil_r * d.u(1.0, 1.15), thick, coil_squash, axis, coil_colour, coil_level, near_here)
    round_things(d, ambient, 2)
    round_things(d, ambient, 1, near=(bx, by, bulb_r), lamps=0.06)
    cables(d, ambient, 2)

    labels = torch.stack([d.masks["line"], disc, d.masks["gun"], d.masks["scale"]], 1)
    seen_bulb = ((limb_level > 0.004) | (has_beam > 0) | (veil > 0.004)).float()
    seen_gun = ((ambient > 0.01) | (burning > 0) | (has_beam * before > 0)).float()
    one = torch.ones_like(seen_bulb)
    weights = torch.stack([one, 0.1 + 0.9 * seen_bulb, 0.1 + 0.9 * seen_gun, one], 1)
    truth = torch.stack([t.expand(d.b, 1, 1)[:, 0, 0] for t in
                         (has_beam, cx, cy, a, a * squash, axis, arc, bx, by, bulb_r * has_bulb, gx, gy)], 1)
    return labels.clamp(0, 1), weights, truth


# ---------------------------------------------------------------- camera

def blurred(img, sigma):
    """Gaussian blur, one sigma [B] a picture."""
    h, w = img.shape[2:]
    t = torch.arange(-6, 7, device=img.device, dtype=torch.float32)
    k = torch.exp(-0.5 * (t[None] / sigma.view(-1, 1).clamp_min(0.15)) ** 2)
    k = (k / k.sum(1, keepdim=True)).view(-1, 13, 1, 1, 1)
    x = F.pad(img, (6, 6, 6, 6), mode="reflect")
    x = sum(k[:, i] * x[:, :, i:i + h] for i in range(13))
    return sum(k[:, i] * x[..., i:i + w] for i in range(13))


def wide_glow(img, factor):
    small = F.avg_pool2d(img, factor)
    for _ in range(2):
        small = F.avg_pool2d(F.pad(small, (1, 1, 1, 1), mode="replicate"), 3, 1)
    return F.interpolate(small, img.shape[2:], mode="bilinear", align_corners=False)


def compress(img, strength):
    """Blocks of 8 × 8 in luma and chroma, rounded as JPEG does; `strength` [B] scales the table."""
    b, _, h, w = img.shape
    dev = img.device
    k = torch.arange(8, device=dev, dtype=torch.float32)
    dct = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    dct[0] /= math.sqrt(2)
    m = torch.tensor([[.299, .587, .114], [-.169, -.331, .5], [.5, -.419, -.081]], device=dev)
    ycc = torch.einsum("ij,bjhw->bihw", m, img * 255)
    chroma = F.interpolate(F.avg_pool2d(ycc[:, 1:], 2), (h, w), mode="nearest")
    ycc = torch.cat([ycc[:, :1], chroma], 1)
    waves = torch.einsum("ux,vy->uvxy", dct, dct).reshape(64, 1, 8, 8)
    f = F.conv2d(ycc.reshape(b * 3, 1, h, w), waves, stride=8).view(b, 3, 64, h // 8, w // 8)
    table = (10 + 6.0 * (k[:, None] + k[None])).view(1, 1, 64, 1, 1) * strength.view(b, 1, 1, 1, 1)
    f = (torch.round(f / table) * table).view(b * 3, 64, h // 8, w // 8)
    ycc = F.conv_transpose2d(f, waves, stride=8).view(b, 3, h, w)
    return torch.einsum("ij,bjhw->bihw", torch.linalg.inv(m), ycc) / 255


def camera(d):
    """From linear light to the picture as stored: 0 to 1, [B, 3, H, W]."""
    img = d.img.clamp(0, 60)
    u4 = lambda *a: d.u(*a)[:, None]
    img = img + u4() ** 2 * 0.06 * wide_glow(img.clamp(0, 8), 4) + u4() ** 2 * 0.03 * wide_glow(img.clamp(0, 8), 16)
    img = blurred(img, where(d.flag(0.7), d.u(0.3, 0.9), d.u(0.8, 2.6))[:, 0, 0])
    # vignette, veil, exposure, white balance
    r2 = ((d.x - d.w / 2) ** 2 + (d.y - d.h / 2) ** 2) / LONG ** 2 * 4
    img = img * (1 - d.u(0, 0.45) * r2 / 1.6).clamp_min(0.2)[:, None]
    img = img * (1 + 0.15 * torch.randn(d.b, 3, 1, 1, device=d.dev, generator=d.gen)).clamp(0.4, 1.8) * d.lu(0.5, 1.6)[:, None]
    img = img + (d.flag(0.3) * d.lu(0.0005, 0.03))[:, None] * d.colour(0.3)
    # noise of the sensor, fine and coarse
    level = (d.lu(0.001, 0.035) * d.flag(0.85))[:, None]
    grey = torch.randn(d.b, 1, d.h, d.w, device=d.dev, generator=d.gen)
    tint = torch.randn(d.b, 3, d.h, d.w, device=d.dev, generator=d.gen) * u4(0, 1)
    for s in (2, 4):
        c = torch.randn(d.b, 3, d.h // s, d.w // s, device=d.dev, generator=d.gen)
        tint = tint + u4(0, 0.8) * d.flag(0.4)[:, None] * F.interpolate(c, (d.h, d.w), mode="bilinear", align_corners=False)
    img = img + level * (grey + tint) * torch.sqrt(0.04 + img.clamp(0, 1))
    # full scale by channel, or kept in hue
    lum = img.amax(1, keepdim=True).clamp_min(1e-6)
    kept = img * (lum.clamp_max(1) / lum)
    img = where(d.flag(0.25)[:, None], kept, img).clamp(0, 1)
    # tone
    grey = img.mean(1, keepdim=True)
    img = (grey + (img - grey) * u4(0.6, 1.7)).clamp(0, 1)
    img = img.clamp_min(1e-5) ** (1 / u4(1.7, 2.7))
    curve = img * img * (3 - 2 * img)
    img = lerp(img, curve, u4(-0.15, 0.8) * d.flag(0.7)[:, None])
    img = lerp(img, torch.ones_like(img), d.flag(0.15)[:, None] * u4(0, 0.15)).clamp(0, 1)
    # smoothed by night mode, then sharpened
    soft = blurred(img, d.u(0.6, 2.0)[:, 0, 0])
    keep = torch.exp(-((img - soft) / u4(0.02, 0.12)) ** 2)
    img = lerp(img, soft, keep * d.flag(0.4)[:, None])
    img = img + d.flag(0.4)[:, None] * u4(0, 1.5) * (img - blurred(img, d.u(0.5, 1.6)[:, 0, 0]))
    # rescaled
    half = d.b // 2
    s = float(torch.rand((), generator=d.gen, device=d.dev)) * 0.6 + 0.38
    small = F.interpolate(img[:half], scale_factor=s, mode="bilinear", align_corners=False, antialias=True) if half else img[:half]
    img = torch.cat([F.interpolate(small, (d.h, d.w), mode="bilinear", align_corners=False), img[half:]]) if half else img
    strong = (d.flag(0.5) * d.lu(0.2, 4.0)).clamp_min(0.02)[:, 0, 0]
    img = compress(img.clamp(0, 1), strong)
    return (torch.round(img.clamp(0, 1) * 255) / 255)


def batch(number, height, width, device, generator):
    """`number` new pictures: picture, labels, weights, truth (beam, cx, cy, a, b, axis, arc, bulb x, y, r, gun x, y)."""
    d = Draw(number, height, width, device, generator)
    labels, weights, truth = scene(d)
    img = camera(d)
    # mixed up so that the rescaled half is not always the same one
    order = torch.randperm(number, device=device, generator=generator)
    return img[order], labels[order], weights[order], truth[order]

"""Runs a folder of anchor scripts measurement by measurement, at the pace of the speed study.

Usage: python anchors.py FOLDER DATA SCRIPT. The script's own calls of `common.bench` are caught: each is announced as one JSON line and
then waits for orders on standard input: `run`, `check FILE` (rows of numbers that our kernel made), `own`, `next`.
So every anchor is timed by the very code of the folder, beside ours, and problems and references are the folder's own.
"""
import importlib, json, os, shutil, sys

folder, data, script = sys.argv[1:4]
out = os.fdopen(os.dup(1), "w", buffering=1)
sys.stdout = sys.stderr
sys.path.insert(0, folder)
import numpy as np
import common


def say(**words):
    out.write(json.dumps({k: float(f"{v:.6g}") if isinstance(v, float) else v for k, v in words.items()}) + "\n")


def keep(name, rows):
    np.ascontiguousarray(rows, dtype="<f8").tofile(os.path.join(data, name + ".f64"))


keep("points", common.sphere_points())
keep("loops-2", common.THIN)
keep("loops-128", common.fat_pair())
keep("start", np.append(common.Y0, [common.KAPPA, common.T_TURN]))
keep("launches", common.bundle_states())

checks = {}          # the first check of a problem takes a plain array of rows: ours is judged by it


def numbers(values):
    return {k: v for k, v in (values or {}).items() if isinstance(v, (int, float))}


def bench(kernel, library, version, work, f, per_call, unit, threads=1, repeats=None, warm=1, inner=1, check=None, **extra):
    if check is not None:
        checks.setdefault(work, check)
    result = f()
    if kernel.startswith("4"):      # the photograph that this script drew, for ours too
        shutil.copyfile(sys.modules[script].files[0], os.path.join(data, "ring.jpg"))
    say(kernel=kernel, library=library, version=version, work=work, per_call=per_call, unit=unit, threads=threads,
        settings=numbers(extra))
    for line in sys.stdin:
        order, _, rest = line.strip().partition(" ")
        if order == "run":
            result, wall, cpu = common.timeit(f, 1, 0, inner)
            say(seconds=cpu[0], wall=wall[0])
        elif order == "own":
            say(**numbers(check(result) if check else {}))
        elif order == "check":
            rows = np.fromfile(rest, dtype="<f8")
            if kernel[0] in "56":      # a few numbers of ours, to be read beside the anchor's own
                say(**{f"result_{i}": float(v) for i, v in enumerate(rows)})
                continue
            if kernel.startswith("4"):      # centre, major and minor semi-axis against the drawing's own
                true = sys.modules[script].T[0]
                names = ("cx", "cy", "a", "b")
                say(**{f"{k}_error_px": float(v - true[k]) for k, v in zip(names, rows)})
                continue
            width = 6 if kernel.startswith("3") else 3
            rows = rows.reshape(-1, width)
            say(**numbers(checks[work](rows[0] if len(rows) == 1 else rows) if work in checks else {}))
        elif order == "next":
            return result
    sys.exit(0)


common.bench = bench
importlib.import_module(script)
say(done=True)

"""Cases: parts, what happens to them, the probes on them, and what the probes read."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .network import BENCH, BLANKET, BODY, IRON, NODES, STAINLESS, STEEL, TUBE, Network, step

FAMILIES = (
    "lumped", "still", "gradient", "noisy", "thin tube", "heavy", "coarse",
    "bench", "purge", "torch", "blanket", "draught", "carry", "cold probe", "faults", "everything",
)  # fmt: skip
QUIET = frozenset(
    {"lumped", "still", "gradient", "noisy", "thin tube", "heavy", "coarse", "faults"}
)
DT = 0.25
LONGEST_S = 7200.0


@dataclass
class Case:
    """One case as a forecaster meets it.

    ``t`` and ``y`` are the readings (NaN where the channel said it had none); ``truth_t`` and
    ``truth`` the probe's own noise-free temperature; ``events`` the times of changes (start of
    each and end of each); ``crossing_s`` the first fall through ``limit_c`` for good.
    """

    family: str
    t: np.ndarray
    y: np.ndarray
    truth_t: np.ndarray
    truth: np.ndarray
    limit_c: float
    ambient_c: float
    events: list[tuple[float, str]]
    noise_k: float
    lag_s: float
    lumped: dict = field(default_factory=dict)

    def left_s(self, at_s: float) -> float | None:
        """True time left at ``at_s`` until the next downward crossing."""
        after = self.truth_t >= at_s
        t, y = self.truth_t[after], self.truth[after]
        # A probe unplugged and plugged in cold drops at once: that is no crossing.
        falls = (y[:-1] >= self.limit_c) & (y[1:] < self.limit_c) & (y[:-1] - y[1:] < 8.0)
        down = np.flatnonzero(falls)
        if len(down) == 0:
            return None
        i = down[0]
        share = (y[i] - self.limit_c) / (y[i] - y[i + 1])
        return float(t[i] + share * (t[i + 1] - t[i]) - at_s)


def _part(rng, family, net, i):
    """Fill in case ``i`` of the network."""
    start = rng.uniform(260, 480)
    kind = IRON
    if family == "thin tube":
        kind = rng.choice([STAINLESS, STEEL])
        thickness, area = rng.uniform(0.0015, 0.003), rng.uniform(0.02, 0.08)
        size, eps = rng.uniform(0.035, 0.09), rng.uniform(0.2, 0.7)
    elif family == "heavy":
        kind = rng.choice([IRON, STEEL])
        thickness, area = rng.uniform(0.008, 0.016), rng.uniform(0.1, 0.5)
        size, eps = rng.uniform(0.08, 0.3), rng.uniform(0.6, 0.9)
    else:
        kind = rng.choice([IRON, IRON, STEEL, STAINLESS])
        thickness, area = rng.uniform(0.004, 0.009), rng.uniform(0.06, 0.3)
        size, eps = rng.uniform(0.05, 0.2), rng.uniform(0.45, 0.9)
    lumped = family == "lumped"
    nodes = 1 if lumped else 8
    shares = np.ones(1) if lumped else rng.dirichlet(np.full(8, 4.0))
    walls = np.ones(nodes) if lumped else rng.uniform(0.7, 1.6, 8)
    body = slice(0, nodes)
    net.area[i, body] = area * shares
    net.mass[i, body] = area * shares * thickness * walls * 7200
    net.kind[i, :] = kind
    net.size[i, :] = size
    net.emissivity[i, :] = eps
    net.emissivity_slope[i, :] = 0.0 if lumped else rng.uniform(0, 3e-4)
    conductivity = 18.0 if kind == STAINLESS else rng.uniform(32, 46)
    length = np.sqrt(area) / 4
    for a in range(nodes - 1):
        wall = thickness * 0.5 * (walls[a] + walls[a + 1])
        g = conductivity * wall * np.sqrt(area) * rng.uniform(0.3, 1.0) / length
        net.link[i, a, a + 1] = net.link[i, a + 1, a] = g
    net.link_slope[i] = 6e-4 if kind == STAINLESS else -5e-4
    net.start[i, body] = start
    if family in {"gradient", "everything"}:
        tilt = rng.uniform(-25, 25)
        net.start[i, body] = start + tilt * np.linspace(-1, 1, 8) + rng.normal(0, 5, 8)
    if not lumped and family != "thin tube" and rng.random() < 0.6:
        _tube(rng, net, i, start)
    # Bench: a steel plate in three slabs, air below; blanket: ceramic fibre in two layers.
    net.mass[i, BENCH] = rng.uniform(1.5, 8.0, 3)
    net.kind[i, BENCH] = STEEL
    net.link[i, 12, 13] = net.link[i, 13, 12] = rng.uniform(3, 15)
    net.link[i, 13, 14] = net.link[i, 14, 13] = rng.uniform(1, 6)
    net.area[i, BENCH] = rng.uniform(0.02, 0.1)
    rest = rng.choice(8, size=2, replace=False) if not lumped else np.array([0])
    for a in rest:
        net.link[i, a, 12] = net.link[i, 12, a] = rng.uniform(0.4, 2.5)
    fibre = rng.uniform(0.025, 0.05)
    net.mass[i, BLANKET] = area * fibre * 110 / 2 * 1.6
    net.area[i, 16] = area * 1.3
    for a in range(nodes):
        g = 0.09 * net.area[i, a] / (fibre / 2)
        net.link[i, a, 15] = net.link[i, 15, a] = g
    net.link[i, 15, 16] = net.link[i, 16, 15] = 0.09 * area / (fibre / 2)
    return start


def _tube(rng, net, i, start):
    """A stainless tube joined to the last body node."""
    bore, wall, length = rng.uniform(0.04, 0.065), rng.uniform(0.0015, 0.003), 0.05
    net.area[i, TUBE] = np.pi * bore * length
    net.mass[i, TUBE] = np.pi * bore * wall * length * 7900
    net.kind[i, TUBE] = STAINLESS
    net.size[i, TUBE] = bore
    net.emissivity[i, TUBE] = rng.uniform(0.2, 0.6)
    g = 18 * np.pi * bore * wall / length
    for a in range(8, 11):
        net.link[i, a, a + 1] = net.link[i, a + 1, a] = g
    net.link[i, 7, 8] = net.link[i, 8, 7] = g
    net.start[i, TUBE] = start - rng.uniform(0, 60)


EVENT = {
    "bench": "landed", "purge": "purge on", "torch": "arc on", "blanket": "cover on",
    "draught": "draught", "carry": "landed", "cold probe": "probe back",
}  # fmt: skip


def make(
    seed: int, families: list[str], *, plain: bool = False, without_events: bool = False
) -> list[Case]:
    """One case for each entry of ``families``; the same seed gives the same cases.

    ``plain``: every probe is read once a second with 0.5 K of white noise and no steps.
    ``without_events``: the same parts, air and noise, but nothing happens to them.
    """
    rng = np.random.default_rng([seed, 4711])
    n = len(families)
    net = Network(
        mass=np.full((n, NODES), 1.0),
        kind=np.zeros((n, NODES), dtype=int),
        area=np.zeros((n, NODES)),
        size=np.full((n, NODES), 0.1),
        emissivity=np.full((n, NODES), 0.7),
        emissivity_slope=np.zeros((n, NODES)),
        link=np.zeros((n, NODES, NODES)),
        link_slope=np.zeros(n),
        start=np.full((n, NODES), 20.0),
    )
    air = rng.uniform(8, 33, n)
    plans = []
    for i, family in enumerate(families):
        net.start[i, :] = air[i]
        start = _part(rng, family, net, i)
        quick = 0.45 * float(net.mass[i, BODY].sum()) / max(float(net.area[i, BODY].sum()), 1e-3)
        plans.append(_plan(rng, family, i, net, start, quick))
    for plan in plans:
        plan["plain"] = plain
        if without_events:
            plan |= {"spans": [], "probe_swap": None, "gap": None}
    return _run(rng, families, net, air, plans)


def _plan(rng, family, i, net, start, quick_s_per_k):
    """What happens when; ``quick_s_per_k`` scales times with how slowly the part cools."""
    limit = rng.uniform(max(120.0, start - 230), start - 70)
    span = np.clip((start - limit) * 6.0 * quick_s_per_k / 15.0, 60, 2400)
    first = rng.uniform(0.15, 0.4) * span + 20
    node = 0 if family == "lumped" else int(rng.integers(0, 8))
    if family not in {"lumped", "thin tube"} and net.area[i, 8] > 0 and rng.random() < 0.15:
        node = int(rng.integers(8, 12))
    plan = {
        "limit": limit,
        "node": node,
        "events": [],
        "spans": [],
        "probe_swap": None,
        "gap": None,
    }

    def span_of(name, begin, end, size):
        plan["spans"].append((name, begin, end, size))
        plan["events"] += [(begin, EVENT.get(name, name))] + (
            [(end, name + " off")] if end < 1e6 else []
        )

    names = (
        [family]
        if family != "everything"
        else list(
            rng.choice(["bench", "purge", "torch", "draught", "blanket"], size=2, replace=False)
        )
    )
    when = first
    for name in names:
        if name == "bench":
            span_of("bench", when, 1e9, 1.0)
        elif name == "purge":
            span_of(
                "purge",
                when,
                1e9 if rng.random() < 0.6 else when + rng.uniform(90, 300),
                rng.uniform(6, 18),
            )
        elif name == "torch":
            span_of("torch", when, when + rng.uniform(15, 70), rng.uniform(500, 1800))
        elif name == "blanket":
            span_of("blanket", when, 1e9, 1.0)
        elif name == "draught":
            span_of(
                "draught",
                when,
                1e9 if rng.random() < 0.6 else when + rng.uniform(90, 300),
                rng.uniform(4, 20),
            )
        when += rng.uniform(100, 240)
    if family in {"carry", "cold probe"} or (family == "everything" and rng.random() < 0.5):
        begin = rng.uniform(0.1, 0.3) * span + 15
        end = begin + rng.uniform(60, min(300.0, 60 + 0.35 * span))
        plan["gap"] = (begin, end)
        plan["events"] += [(begin, "gap"), (end, "probe back")]
        if family == "carry":
            landed = rng.uniform(begin + 10, end - 5)
            plan["spans"].append(("bench", landed, 1e9, 1.0))
            plan["events"].append((landed, "landed"))
        if family != "carry" or rng.random() < 0.5:
            plan["probe_swap"] = end
    return plan


def _run(rng, families, net, air, plans):
    n = len(families)
    lag = np.where([f == "lumped" for f in families], 0.3, rng.uniform(2, 20, n) ** 1.0)
    t = net.start.copy()
    probe = t[np.arange(n), [p["node"] for p in plans]].copy()
    offset = np.where([f == "lumped" for f in families], 0.0, rng.normal(0, 1.5, n))
    steps = int(LONGEST_S / DT)
    kept = np.empty((steps // 2 + 1, n), dtype=np.float32)
    nodes = np.array([p["node"] for p in plans])
    wobble = np.zeros(n)
    stirred = np.array([0.15 if f in {"noisy", "everything"} else 0.04 for f in families])
    stirred[[f == "lumped" for f in families]] = 0.0
    swap = np.array([p["probe_swap"] if p["probe_swap"] is not None else np.inf for p in plans])
    limit = np.array([p["limit"] for p in plans])
    done = steps
    for s in range(steps):
        now = s * DT
        if s % 2 == 0:
            kept[s // 2] = probe + offset
        if s % 400 == 0 and now > 600 and bool(np.all((probe + offset) < limit - 8)):
            done = s
            break
        wobble += -wobble * DT / 20.0 + stirred * np.sqrt(2 * DT / 20.0) * rng.standard_normal(n)
        t = step(net, t, air, _modifiers(now, n, plans, wobble), DT)
        probe = probe + DT / lag * (t[np.arange(n), nodes] - probe)
        swapped = (swap > now - DT) & (swap <= now)
        probe[swapped] = air[swapped]
    times = np.arange(0, done, 2) * DT
    return [
        _read(rng, families[i], times, kept[: len(times), i].astype(float), plans[i],
              float(air[i]), float(lag[i]), net, i)
        for i in range(n)
    ]  # fmt: skip


def _modifiers(now, n, plans, wobble):
    out = {
        "draught": 3.0 * wobble, "cover": np.zeros(n), "contact": np.zeros(n),
        "argon": np.zeros((n, NODES)), "torch": np.zeros((n, NODES)),
    }  # fmt: skip
    for i, plan in enumerate(plans):
        for name, begin, end, size in plan["spans"]:
            if not begin <= now < end:
                continue
            if name == "bench":
                out["contact"][i] = 1.0
            elif name == "blanket":
                out["cover"][i] = 1.0
            elif name == "draught":
                out["draught"][i] += size
            elif name == "purge":
                # l/min of argon at 20 °C to W/K, spread over body and tube, 0.8 effective.
                flow = size / 60000 * 1.66 * 521.6 * 0.8
                out["argon"][i, 4:12] += flow / 8
            elif name == "torch":
                out["torch"][i, 7] += 0.6 * size
                out["torch"][i, 6] += 0.25 * size
    return out


def _read(rng, family, times, truth, plan, air, lag, net, i):
    end = times[-1]
    period = {"coarse": rng.choice([2.0, 5.0, 10.0, 20.0, 60.0])}.get(
        family, rng.choice([0.5, 1.0, 1.0, 2.0])
    )
    if family == "lumped" or plan["plain"]:
        period = 1.0
    t = np.arange(rng.uniform(0, 0.5), end, period)
    if family in {"coarse", "everything", "faults"}:
        t = t + rng.uniform(-0.3, 0.3, len(t)) * period
        t = np.sort(np.clip(t, 0, end))
    noise = {"lumped": 0.5, "noisy": rng.uniform(0.8, 2.0)}.get(family, rng.uniform(0.1, 0.7))
    noise = 0.5 if plan["plain"] else noise
    y = np.interp(t, times, truth) + rng.normal(0, noise, len(t))
    if family in {"noisy", "everything"}:
        slow = np.zeros(len(t))
        for k in range(1, len(t)):
            keep = np.exp(-(t[k] - t[k - 1]) / 4.0)
            slow[k] = (
                keep * slow[k - 1] + 0.4 * noise * np.sqrt(1 - keep**2) * rng.standard_normal()
            )
        y = y + slow
    grid = 0.0 if family == "lumped" else rng.choice([0.01, 0.1, 0.25, 1.0], p=[0.2, 0.2, 0.4, 0.2])
    if grid and not plan["plain"]:
        y = np.round(y / grid) * grid
    if family in {"faults", "everything"}:
        spikes = rng.random(len(t)) < 0.01
        y[spikes] += rng.choice([-1, 1], spikes.sum()) * rng.uniform(15, 300, spikes.sum())
        for _ in range(int(rng.integers(1, 4))):
            lost = rng.uniform(0, end)
            y[(t > lost) & (t < lost + rng.uniform(3, 40))] = np.nan
    if plan["gap"] is not None:
        y[(t > plan["gap"][0]) & (t < plan["gap"][1])] = np.nan
    lumped = {}
    if family == "lumped":
        lumped = {
            "mass": float(net.mass[i, 0]), "area": float(net.area[i, 0]),
            "kind": int(net.kind[i, 0]), "size": float(net.size[i, 0]),
            "emissivity": float(net.emissivity[i, 0]),
            "start": float(net.start[i, 0]),
        }  # fmt: skip
    return Case(
        family, t, y, times, truth, plan["limit"], air, sorted(plan["events"]), noise, lag, lumped
    )

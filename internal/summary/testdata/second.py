"""A second implementation of the statistics of summaries, by numpy and scipy: reads data sets as JSON, writes what it
makes of each. Nothing of it is shared with the program but the definitions in STATISTICS.md."""
import json
import sys

import numpy as np
from scipy import stats


def interval(values, p):
    n = len(values)
    low, high = int(stats.binom.ppf(0.025, n, p)), int(stats.binom.ppf(0.975, n, p)) + 1
    if low < 1 or high > n:
        return None
    inside = float(stats.binom.pmf(np.arange(low, high), n, p).sum())
    ordered = sorted(values)
    return [low, high, ordered[low - 1], ordered[high - 1], inside]


def percentiles(values):
    return {
        str(q): [float(np.percentile(values, q, method="linear")), float(np.percentile(values, q, method="weibull")), interval(values, q / 100)]
        for q in (10, 25, 50, 75, 90, 95)
    }


def wilson(x, n):
    ci = stats.binomtest(x, n).proportion_ci(0.95, method="wilson")
    return [ci.low, ci.high]


def difference(x, n, xb, nb):
    (l1, u1), (l2, u2) = wilson(x, n), wilson(xb, nb)
    p1, p2 = x / n, xb / nb
    d = p1 - p2
    return [d, d - ((p1 - l1) ** 2 + (u2 - p2) ** 2) ** 0.5, d + ((u1 - p1) ** 2 + (p2 - l2) ** 2) ** 0.5]


def ratio(now, before):
    if min(len(now), len(before)) < 10:
        return None

    def variance(values):
        logs, n = np.sort(np.log(values)), len(values)
        c = max(int(np.floor((n + 1) / 2 - n ** 0.5 + 0.5)), 1)
        z = stats.norm.isf(stats.binom.pmf(np.arange(c), n, 0.5).sum())
        return ((logs[n - c] - logs[c - 1]) / (2 * z)) ** 2

    centre = np.log(np.median(now)) - np.log(np.median(before))
    half = stats.norm.ppf(0.975) * (variance(now) + variance(before)) ** 0.5
    return [float(np.exp(centre - half)), float(np.exp(centre + half))]


def runs(scale, centre, first):
    """The maximal runs of 8 on one side and of 6 rising or falling that end at or after the first point of the period."""
    found, n = [], len(scale)
    for name, least, same in (
        ("one-side-high", 8, lambda a, b: all(v > centre for v in scale[a:b])),
        ("one-side-low", 8, lambda a, b: all(v < centre for v in scale[a:b])),
        ("rising", 6, lambda a, b: all(scale[i] < scale[i + 1] for i in range(a, b - 1))),
        ("falling", 6, lambda a, b: all(scale[i] > scale[i + 1] for i in range(a, b - 1))),
    ):
        a = 0
        while a < n:
            b = a
            while b < n and same(a, b + 1):
                b += 1
            if b - a >= least and b - 1 >= first:
                found.append([name, a, b - 1])
            # a run of rising values may begin where a falling one ended
            a = b if b > a + 1 and name.startswith("one") else a + 1 if b <= a + 1 else b - 1
    return found


def single(scale, first, back, least, bounded):
    if first < least:
        return None
    base = np.array(scale[:min(first, 50)])
    moving = np.abs(np.diff(base)).mean()
    if moving == 0:
        return None
    centre, low, high = base.mean(), base.mean() - 2.66 * moving, base.mean() + 2.66 * moving
    if bounded:
        low = max(low, 0)
    signals = runs(scale, centre, first)
    for i, v in enumerate(scale):
        if i >= first and v > high:
            signals.append(["outside-high", i, i])
        if i >= first and v < low:
            signals.append(["outside-low", i, i])
    wide = [i for i in range(1, len(scale)) if not bounded and abs(scale[i] - scale[i - 1]) > 3.267 * moving]
    return {"wide": wide, "centre": back(centre), "lower": back(low), "upper": back(high), "range": float(np.exp(3.267 * moving)), "signals": sorted(signals)}


def rates(months, first):
    if first < 8:
        return None
    base = months[:first]
    p = sum(m[0] for m in base) / sum(m[1] for m in base)
    if p in (0, 1):
        return None
    half = [3 * (p * (1 - p) / n) ** 0.5 for _, n in months]
    shares = [x / n for x, n in months]
    signals = runs(shares, p, first)
    for i in range(first, len(months)):
        if shares[i] > min(p + half[i], 1):
            signals.append(["outside-high", i, i])
        if shares[i] < max(p - half[i], 0):
            signals.append(["outside-low", i, i])
    return {"centre": p, "lower": [max(p - h, 0) for h in half], "upper": [min(p + h, 1) for h in half], "signals": sorted(signals)}


def between(events, first):
    places = [i for i, e in enumerate(events) if e]
    gaps = [b - a - 1 for a, b in zip(places, places[1:])]
    have = sum(1 for at in places[1:] if at < first)
    if have < 8 or sum(gaps[:min(have, 50)]) == 0:
        return None
    g = float(np.mean(gaps[:min(have, 50)]))
    upper, middle = g + 3 * (g * (g + 1)) ** 0.5, float(stats.geom(1 / (1 + g), loc=-1).median())
    signals = runs(gaps, middle, have)
    signals += [["outside-high", i, i] for i in range(have, len(gaps)) if gaps[i] > upper]
    return {"centre": g, "upper": upper, "signals": sorted(signals)}


def times(days, first):
    scale = [d ** (1 / 3.6) for d in np.diff(days)]
    return single(scale, sum(1 for d in days[1:] if d < first), lambda v: v ** 3.6, 8, True)


out = []
for s in json.load(sys.stdin):
    out.append({
        "percentiles": percentiles(s["values"]),
        "wilson": wilson(s["x"], s["n"]),
        "difference": difference(s["x"], s["n"], s["x_before"], s["n_before"]),
        "ratio": ratio(s["values"], s["before"]),
        "values": single(list(np.log(s["values"])), s["first"], lambda v: float(np.exp(v)), 20, False),
        "months": rates(s["months"], s["first_month"]),
        "between": between(s["events"], s["first_event"]),
        "days": times(s["days"], s["first_day"]),
    })
json.dump(out, sys.stdout)

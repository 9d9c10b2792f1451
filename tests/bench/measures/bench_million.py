"""Measures on a million samples beside the same job in numpy: the same samples, estimators and robust steps, to the
same results, in one run on one core. Prints for each measure both processor times, their ratio, and how often the
floor (one pass over the columns) fits into ours. Ends with status 1 when a ratio is under its bound.

/usr/bin/python3 bench_million.py PATH/TO/million-samples

numpy as one would write it well: whole-array operations without copies where a view does, moving sums by cumulative
sums, lag products by dot, means of blocks where the estimator takes them, least squares by lstsq on small arrays and
by the normal equations of centred columns on large ones. Scalar arithmetic of the uncertainty budgets is left out
(it favours numpy)."""
import os
import subprocess
import sys
import tempfile
import time

os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"
import numpy as np  # noqa: E402
from scipy.special import ndtr  # noqa: E402


# ---- what the measures share ----

def take(t, y, quality, begin=-np.inf, end=np.inf):
    """Good samples of begin <= t <= end, their usual interval and the longest gap."""
    a, b = np.searchsorted(t, begin), np.searchsorted(t, end, "right")
    t, y, quality = t[a:b], y[a:b], quality[a:b]
    good = (quality == 0) & np.isfinite(y)
    if not good.all():
        t, y = t[good], y[good]
    steps = np.diff(t)
    return t, y, np.median(steps), steps.max()


def inflation(r, p):
    """Of the variance of a mean by correlation: pairs of autocorrelations until one is not positive; of long ones by
    the means of blocks of 8."""
    n, square = len(r), r @ r

    def lags(lift, most):
        total = 0.0
        for lag in range(1, min(most, n // 4), 2):
            one = (r[lag:] @ r[:-lag]) / square + lift
            pair = one + (r[lag + 1:] @ r[:-lag - 1]) / square + lift
            if lag == 1 and pair <= np.sqrt(2 / n) and one <= 2 / np.sqrt(n):
                return 0.0, True
            if lag == 1:
                pair = max(pair, one)
            if pair <= 0:
                return total, True
            total += pair
        return total, False

    if n > 20000:
        one, two = (r[1:] @ r[:-1]) / square, (r[2:] @ r[:-2]) / square
        if one + two > np.sqrt(2 / n) or one > 2 / np.sqrt(n):
            means = r[: n // 8 * 8].reshape(-1, 8).mean(axis=1)
            return max(1, means @ means / len(means) / (square / n) * 8 * inflation(means, p))
    value = 1.0
    for k in range(3):
        total, _ = lags(min(p * value / n, 0.2), 2000)
        value = max(1, 1 + 2 * total)
        if total == 0:
            break
    return value


def plateau(t, y):
    """Mean, slope, spread about the line, uncertainty of the mean."""
    x, mean = t - t.mean(), y.mean()
    slope = (x @ y) / (x @ x)
    r = y - mean - slope * x
    s = np.sqrt((r @ r) / (len(r) - 2))
    grown = inflation(r, 2)
    return mean, slope, s, s * np.sqrt(grown / len(r)), grown


def noise_of(y):
    d = np.diff(y)
    return np.sqrt((d @ d) / (2 * len(d)))


def moving(y, width):
    c = np.cumsum(y)
    m = c[width - 1:].copy()
    m[1:] -= c[:-width]
    return m / width


def block_means(x, count):
    edges = np.arange(count) * len(x) // count
    return np.add.reduceat(x, edges) / np.diff(np.append(edges, len(x)))


def passage(t, y, level, sign, begin):
    i = np.searchsorted(t, begin)
    k = i + int(np.argmax(sign * (y[i:] - level) >= 0))
    return t[k - 1] + (level - y[k - 1]) / (y[k] - y[k - 1]) * (t[k] - t[k - 1])


def parabola(t, y, centre, half):
    a, b = np.searchsorted(t, (centre - half, centre + half))
    u = (t[a:b] - centre) / half
    columns = np.stack((np.ones_like(u), u, u * u), axis=1)
    c, rest, rank, _ = np.linalg.lstsq(columns, y[a:b], rcond=None)
    if rank < 3 or b - a < 5:
        return None
    cov = np.linalg.inv(columns.T @ columns)
    return c, np.sqrt(rest[0] / (b - a - 3)) if len(rest) else 0.0, cov, b - a


def crossing_at(t, y, s, level, centre, half):
    for _ in range(12):
        fit = parabola(t, y, centre, half)
        if fit is None:
            return None
        c, seen, cov, n = fit
        roots = np.roots((c[2], c[1], c[0] - level))
        u = roots[np.argmin(abs(roots))]
        if np.iscomplex(u):
            return None
        u = u.real
        if abs(u) <= 0.1:
            row = np.array((1, u, u * u))
            spread = np.sqrt(((n - 3) * seen ** 2 + 30 * s ** 2) / (n + 27))
            u_value = spread * np.sqrt(row @ cov @ row)
            return centre + u * half, u_value, (c[1] + 2 * c[2] * u) / half
        centre += np.clip(u, -0.7, 0.7) * half
    return None


def crossing(t, y, s, level, guess, widest):
    """The widest parabola whose crossing agrees with all narrower ones."""
    low, high, best = -np.inf, np.inf, None
    first = crossing_at(t, y, s, level, guess, widest)
    slope = abs(first[2])
    for k in range(6, -1, -1):
        half = widest / 2 ** k
        found = crossing_at(t, y, s, level, best[0] if best else guess, half)
        if found is None or not min(slope, abs(found[2])) * half > 5 * found[1]:
            continue
        at, u = found[0], found[1] / slope
        low, high = max(low, at - 1.6 * u), min(high, at + 1.6 * u)
        if best and low > high:
            break
        if not best or u < best[1]:
            best = at, u, found[2]
    return best


# ---- level, extreme ----

def level(data):
    t, y, interval, gap = take(*data[0])
    mean, _, s, _, _ = plateau(t, y)
    return {"value": mean, "spread": s}


def extreme(data):
    t, y, interval, gap = take(*data[0])
    width = int(0.05 / interval + 0.5)
    m = moving(y - y[0], width)
    m += y[0]
    noise = noise_of(y) / np.sqrt(width)
    lift = noise * np.sqrt(2 * np.log(len(y) / width))
    share = min(1, (noise / m.std()) ** 2)
    high, low = int(m.argmax()), int(m.argmin())
    return {"largest": m[high] - lift * share, "smallest": m[low] + lift * share}


# ---- step response ----

def break_fit(x, y, rested, level_sum, smooth, at, scale):
    u = np.maximum(0, (x - at) / scale)
    one = u * u if smooth else u
    columns = np.empty((len(u) + 1, 3))
    columns[:-1, 0], columns[:-1, 1], columns[:-1, 2] = 1, one, one * u
    columns[-1] = np.sqrt(rested), 0, 0
    right = np.append(y, level_sum / np.sqrt(rested))
    c, rest, rank, _ = np.linalg.lstsq(columns, right, rcond=None)
    return c, rest[0] if len(rest) else np.inf


def break_in(t, y, s, begin, until, sign, smooth):
    end = np.searchsorted(t, until)
    span = until - begin
    low, step = begin - 0.3 * span, 1.25 * span / 48
    rested = np.searchsorted(t[:end], low - step, "right")
    x, v, total = t[rested:end], y[rested:end], y[:rested].sum()

    def misfit(at):
        c, rss = break_fit(x, v, rested, total, smooth, at, span)
        return rss if sign * c[1] > 0 else np.inf

    grid = [misfit(low + i * step) for i in range(48)]
    where = low + int(np.argmin(grid)) * step
    a, b, ratio = where - step, where + step, 0.61803398874989484820
    p, q = b - ratio * (b - a), a + ratio * (b - a)
    fp, fq = misfit(p), misfit(q)
    for _ in range(40):
        if b - a <= 1e-9 * span:
            break
        if fp <= fq:
            b, q, fq = q, p, fp
            p = b - ratio * (b - a)
            fp = misfit(p)
        else:
            a, p, fp = p, q, fq
            q = a + ratio * (b - a)
            fq = misfit(q)
    at = 0.5 * (a + b)
    c, rss = break_fit(x, v, rested, total, smooth, at, span)
    moving_n = end - np.searchsorted(t, at)
    rest = y[: end - moving_n]
    own = np.sqrt(max(0, rss - ((rest - rest.mean()) ** 2).sum()) / max(moving_n - 3, 1))
    u = np.maximum(0, (x - at) / span)
    slope = (2 * c[1] + 3 * c[2] * u) * u if smooth else c[1] + 2 * c[2] * u
    columns = np.stack((np.ones_like(u), u * u if smooth else u, u ** 3 if smooth else u * u,
                        np.where(u > 0, -slope / span, 0)), axis=1)
    gram = columns.T @ columns
    gram[0, 0] += rested
    return at, min(max(s, own) * np.sqrt(np.linalg.inv(gram)[3, 3]), span / 4), rss, own


def onset(t, y, s, begin, y0, y1, crude):
    low, high, best = -np.inf, np.inf, None
    for top in (0.04, 0.08, 0.16, 0.32):
        until = passage(t, y, y0 + top * (y1 - y0), 1, begin)
        if until > crude:
            continue
        k, m = (break_in(t, y, s, begin, until, 1, smooth) for smooth in (False, True))
        noise = max(s, min(k[3], m[3])) ** 2
        w = 1 / (1 + np.exp(-np.clip((k[2] - m[2]) / (2 * noise), -700, 700)))
        at = (1 - w) * k[0] + w * m[0]
        square = w * (1 - w) * (m[0] - k[0]) ** 2 / 3 + (1 - w) * k[1] ** 2 + w * m[1] ** 2
        u = 1.15 * np.hypot(np.sqrt(square), 0.03 * (until - at))
        low, high = max(low, at - 1.5 * u), min(high, at + 1.5 * u)
        if best and low > high:
            break
        if not best or u < best[1]:
            best = at, u
    return best[0]


def step_response(data):
    origin = 5.0
    t, y, interval, gap = take(*data[0])
    end = t[-1]
    a = np.searchsorted(t, origin)
    b = np.searchsorted(t, end - 0.2 * (end - origin))
    before, after = plateau(t[:a], y[:a]), plateau(t[b:], y[b:])
    y0, size = before[0], after[0] - before[0]
    s = np.sqrt(0.5 * (before[2] ** 2 + after[2] ** 2))
    t10, t63 = (passage(t, y, y0 + f * size, 1, origin) for f in (0.1, 0.63))
    inside = y[np.searchsorted(t, t10): np.searchsorted(t, t63)]
    assert np.count_nonzero(np.diff(inside)) > 0.7 * len(inside)  # each sample is new
    count = int(len(t) / (len(inside) / 500))
    t, y, s = block_means(t, count), block_means(y, count), s / np.sqrt(len(inside) / 500)
    t10, t63 = (passage(t, y, y0 + f * size, 1, origin) for f in (0.1, 0.63))
    rise, out = t63 - t10, {}
    out["dead time"] = onset(t, y, s, origin, y0, y0 + size, t63) - origin
    for name, f in (("T63", 0.63), ("T86", 0.865), ("T98", 0.98)):
        wanted = y0 + f * size
        guess = passage(t, y, wanted, 1, origin)
        out[name] = crossing(t, y, s, wanted, guess, (0.75 if f > 0.9 else 0.6) * rise)[0] - origin
    peak = t[np.searchsorted(t, t63) + int(y[np.searchsorted(t, t63):].argmax())]
    for k in range(6, -1, -1):  # overshoot
        parabola(t, y, peak, 0.5 * rise / 2 ** k)
    outside = np.flatnonzero(abs(y - (y0 + size)) > 0.02 * size)[-1]
    entry = crossing(t, y, s, y0 + 0.98 * size, t[outside + 1], 0.6 * rise)
    out["settling time"] = entry[0] - origin
    tail = data[0][1][np.searchsorted(data[0][0], end - 0.5 * (end - origin)):]
    block_means(tail, 40)  # movement at rest
    noise_of(tail)
    return out


# ---- stroke ----

def stroke(data):
    t, y, quality = data[0]
    out, rest = {}, {}
    writes = ((2.0, 11.0, 1), (11.0, t[-1], -1))
    levels = [plateau(*take(t, y, quality, 1.5, 2.0)[:2])[0]]
    for begin, end, sign in writes:
        levels.append(plateau(*take(t, y, quality, end - 0.5, end)[:2])[0])
    lower, upper = 0.5 * (levels[0] + levels[2]), levels[1]
    for begin, end, sign in writes:
        x, v, interval, gap = take(t, y, quality, begin - 0.5, end)
        a = np.searchsorted(x, x[-1] - 0.5)
        s = plateau(x[a:], v[a:])[2]
        low, high = (lower, upper) if sign > 0 else (upper, lower)
        wanted, middle = low + 0.98 * (high - low), low + 0.5 * (high - low)
        half, guess = passage(x, v, middle, sign, begin), passage(x, v, wanted, sign, begin)
        inside = np.searchsorted(x, guess) - np.searchsorted(x, half)
        count = int(len(x) / (inside / 500))
        x, v, s = block_means(x, count), block_means(v, count), s / np.sqrt(inside / 500)
        half, guess = passage(x, v, middle, sign, begin), passage(x, v, wanted, sign, begin)
        stop = np.flatnonzero((x >= guess) & (sign * (v - (high - sign * 3 * s)) >= 0))[0]
        at = crossing(x[:stop], v[:stop], s, wanted, guess, 0.5 * (guess - half))
        out["time up" if sign > 0 else "time down"] = at[0] - begin
    out["travel"] = upper - lower
    return out


# ---- relay leak by rise ----

def rise_columns(t, k):
    return np.stack((np.ones_like(t), t if abs(k) < 1e-9 else -np.expm1(-k * t) / k), axis=1)


def rise_fit(t, p, k, weight):
    c, rest, _, _ = np.linalg.lstsq(rise_columns(t, k), p, rcond=None)
    return c, (rest[0] if len(rest) else 0) + weight * k * k


def bend(t, p, weight, length):
    few = 240
    tb, pb, w = block_means(t, few), block_means(p, few), weight * few / len(t)

    def cost(k):
        return rise_fit(tb, pb, k, w)[1]

    step = 32 / length / 60
    grid = np.array([-2 / length + i * step for i in range(61)])
    best = grid[int(np.argmin([cost(k) for k in grid]))]
    a, b, ratio = best - step, best + step, 0.61803398874989484820
    x, z = b - ratio * (b - a), a + ratio * (b - a)
    fx, fz = cost(x), cost(z)
    for _ in range(30):
        if fx <= fz:
            b, z, fz = z, x, fx
            x = b - ratio * (b - a)
            fx = cost(x)
        else:
            a, x, fx = x, z, fz
            z = a + ratio * (b - a)
            fz = cost(z)
    return 0.5 * (a + b)


def relay_leak(data):
    t, p, interval, gap = take(*data[0])
    begin = np.polyfit(t[:9] - t[0], p[:9], 1)[1]
    a = np.searchsorted(t, t[0] + 5)
    noise_of(p), noise_of(p[a:])  # is it half through by then? nine tenths?
    t, p = t[a:], p[a:]
    scatter = noise_of(p)
    t, p = block_means(t, 1000), block_means(p, 1000)
    x, length = t - t[0], t[-1] - t[0]
    straight, _ = rise_fit(x, p, 0, 0)
    k = bend(x, p, 0, length)
    c, _ = rise_fit(x, p, k, 0)
    r = p - rise_columns(x, k) @ c
    noise, grown = np.sqrt((r @ r) / (len(r) - 3)), inflation(r, 3)
    noise_of(p)
    sd_k = max(abs(straight[1]), abs(c[1])) / 0.5e5
    weight = noise ** 2 * grown / sd_k ** 2
    k = bend(x, p, weight, length)
    c, _ = rise_fit(x, p, k, weight)
    rate = c[1] + k * (c[0] - begin)
    columns = np.column_stack((rise_columns(x, k), c[1] * ((x * np.exp(-k * x) - rise_columns(x, k)[:, 1]) / k)))
    gram = columns.T @ columns
    gram[2, 2] += weight
    heat = 0.4 * 3 * -np.expm1(-t / 3)
    f = np.linalg.solve(gram, columns.T @ heat)
    np.linalg.inv(gram)
    share = np.clip(k * f[0] + f[1] + (c[0] - begin) * f[2], 0, 0.4)
    return {"pressure rate": rate / (1 + 0.5 * share)}  # the middle of none to all of it


# ---- staircase ----

def staircase(data):
    t, y, quality = data[0]
    ups = (-0.05, 0, 0.25, 0.5, 0.75, 1, 1.05)
    demands = [ups[i if i < 7 else 12 - i] for _ in range(2) for i in range(12)]
    errors = {}
    for i, demand in enumerate(demands):
        begin, end = 4 + 8 * i, 4 + 8 * (i + 1)
        way = 1 if i == 0 or demand > demands[i - 1] else -1
        if i == 0 or not -0.001 < demand < 1.001:
            continue
        x, v, interval, gap = take(t, y, quality, begin + 3, end - 1e-6)
        mean, slope, s, u, _ = plateau(x, v)
        noise = noise_of(v)
        assert s < 4 * noise and abs(slope) < 5 * s
        errors.setdefault(demand, {}).setdefault(way, []).append(mean / 0.020 - demand)
    up, down = (np.array([np.mean(errors[d][w]) for d in sorted(errors)]) for w in (1, -1))
    return {"inaccuracy": max(max(abs(e) for e in both) for d in errors.values() for both in d.values()),
            "hysteresis": abs(up - down).max()}


# ---- sensor sweep ----

DEG = np.pi / 180


def legs_of(angle):
    """First and last sample of each leg: split where the angle has come back by 5 % of the range. Turns are looked
    for on every 64th sample, then placed on the furthest sample near them."""
    turn, legs, start, direction, extreme_at = 0.05 * np.ptp(angle), [], 0, 1, 0
    coarse = angle[::64]
    for i, a in enumerate(coarse):
        if direction * (a - coarse[extreme_at]) >= 0:
            extreme_at = i
        elif direction * (coarse[extreme_at] - a) > turn:
            at = max(0, 64 * extreme_at - 64)
            near = direction * angle[at: at + 129]
            at += int(near.argmax())
            legs.append((start, at, direction))
            start, extreme_at, direction = at, i, -direction
    at = start + int((direction * angle[start:]).argmax())
    legs.append((start, at, direction))
    return [leg for leg in legs if abs(angle[leg[1]] - angle[leg[0]]) > 0.8 * np.ptp(angle)]


def median_speed(t, angle, leg):
    a, b, _ = leg
    part = slice(a, b + 1, 1 + (b - a) // 200)
    x, v = t[part], angle[part]
    edge = 0.1 * np.ptp(v)
    inner = (v > v.min() + edge) & (v < v.max() - edge)
    return np.median(abs(np.diff(v[inner])) / np.diff(x[inner]))


def sorted_legs(angle, ratio, legs):
    """Each leg once by rising angle: windows of angles are then slices."""
    out = []
    for a, b, _ in legs:
        order = np.argsort(angle[a: b + 1], kind="stable")
        out.append((angle[a: b + 1][order], ratio[a: b + 1][order]))
    return out


def line(x, y, centre):
    u = x - x.mean()
    slope = (u @ y) / (u @ u)
    r = y - y.mean() - slope * u
    return y.mean() + slope * (centre - x.mean()), slope, r @ r, len(x)


def pair_up(data, delay):
    (ta, a, _), (ts, r, _) = data
    at = ts - delay
    inside = (at >= ta[0]) & (at <= ta[-1])
    first, last = int(inside.argmax()), len(at) - int(inside[::-1].argmax())
    at, ratio = at[first:last], r[first:last]
    angle = np.interp(at, ta, a)
    legs = legs_of(angle)
    return at, angle, ratio, legs, [median_speed(at, angle, leg) for leg in legs], first


def delay_of(sorted_, legs, speeds, low, high, points):
    centres, half = np.linspace(low, high, points), 0.5 * (high - low) / (points - 1)
    everything = np.concatenate([x for x, _ in sorted_]), np.concatenate([y for _, y in sorted_])
    inside = (everything[0] >= low) & (everything[0] <= high)
    slope = line(everything[0][inside], everything[1][inside], 0)[1]
    table = np.empty((len(legs), points))
    for k, (x, y) in enumerate(sorted_):
        for j, c in enumerate(centres):
            a, b = np.searchsorted(x, (c - half, c + half))
            table[k, j] = np.median(y[a:b] - slope * (x[a:b] - c)) / slope
    direction = np.array([leg[2] for leg in legs])
    centre = 0.5 * (table[direction > 0].mean(axis=0) + table[direction < 0].mean(axis=0))
    v = (table - centre).ravel()
    rows = np.repeat(np.stack((np.ones(len(legs)), -0.5 * direction, -direction * np.array(speeds)), axis=1), points, axis=0)
    keep = np.ones(len(v), bool)
    for _ in range(5):
        c = np.linalg.lstsq(rows[keep], v[keep], rcond=None)[0]
        off = abs(v - rows @ c)
        keep = off <= 4 * 1.4826 * np.median(off)
    return c[2]


def block_count(angle):
    """In how many blocks: 500 and more in the fastest leg, by a thousand looks at the angle."""
    looks = angle[:: 1 + len(angle) // 1000]
    return int(np.clip(500 * len(looks) * abs(np.diff(looks)).max() / np.ptp(looks), 5000, 20000))


def thinned(t, y, blocks):
    """Means of blocks: of even times the middle of the ends; and where the blocks begin."""
    edges = np.arange(blocks + 1) * len(t) // blocks
    return 0.5 * (t[edges[:-1]] + t[edges[1:] - 1]), np.add.reduceat(y, edges[:-1]) / np.diff(edges), edges


def without_odd(readings, starts, blocks, angle, course, marks):
    """Each reading of a leg held against its course: angles and values of blocks without an odd one, of blocks with
    one the readings themselves; noise of a reading. blocks: the leg's, with their angles and the course there."""
    own = starts[blocks.start: blocks.stop + 1]
    middle, r = 0.5 * (own[:-1] + own[1:] - 1), readings[own[0]: own[-1]]
    off = abs(r - np.interp(np.arange(own[0], own[-1]), middle, course))
    noise = 1.4826 * np.median(off[own[:-1][~marks] - own[0]])
    bad = np.flatnonzero(off > max(0.01, 6 * noise))
    count = np.bincount(np.searchsorted(own, bad + own[0], "right") - 1, minlength=len(marks))
    some, every = np.zeros((2, len(marks) + 2), bool)
    some[1:-1], every[1:-1] = count > 0, count == np.diff(own)
    apart = some[:-2] | some[1:-1] | some[2:]  # with an odd one, or beside one, but not in the midst of a run
    apart &= ~(every[:-2] & every[1:-1] & every[2:])
    single = np.flatnonzero(np.repeat(apart, np.diff(own)))
    single = single[off[single] <= max(0.01, 6 * noise)]
    runs = np.split(bad + own[0], np.flatnonzero(np.diff(bad) > 1) + 1) if len(bad) else []
    lost = [np.sort(np.interp((run[0] - 0.5, run[-1] + 0.5), middle, angle)) for run in runs]
    return ~(apart | every[1:-1]), np.interp(single + own[0], middle, angle), r[single], noise, lost


def sensor_sweep(data):
    full = [take(*series)[:2] for series in data]
    blocks = block_count(full[0][1])
    thin = [thinned(*series, blocks) for series in full]
    data, starts = [(t, y, None) for t, y, _ in thin], thin[1][2]
    total = 0.0
    for _ in range(3):
        t, angle, ratio, legs, speeds, first = pair_up(data, total)
        low = max(min(angle[a], angle[b]) for a, b, _ in legs)
        high = min(max(angle[a], angle[b]) for a, b, _ in legs)
        sorted_ = sorted_legs(angle, ratio, legs)
        if total == 0.0:  # where does the track end?
            edges = np.linspace(low, high, 161)
            for d in (1, -1):
                part = [s for s, leg in zip(sorted_, legs) if leg[2] == d]
                cuts = [np.searchsorted(x, edges) for x, _ in part]
                for j in range(160):
                    np.median(np.concatenate([y[c[j]: c[j + 1]] for (_, y), c in zip(part, cuts)]))
        inset = 0.06 * (high - low)
        found = delay_of(sorted_, legs, speeds, low + inset, high - inset, 21)
        if _ < 2:
            total += found
    keep, spread, dropouts = [], 0.0, []
    for (a, b, way), speed in zip(legs, speeds):
        x, y = angle[a: b + 1], ratio[a: b + 1]
        inside = (x >= low) & (x <= high)
        u = (x - 0.5 * (low + high)) / (0.5 * (high - low))
        cut, marks = np.inf, np.zeros(len(x), bool)
        for _ in range(8):
            use = inside & ~marks
            c = np.polynomial.polynomial.polyfit(u[use], y[use], 4)
            course = np.polynomial.polynomial.polyval(u, c)
            off = abs(y - course)
            now = inside & (off > cut)
            own = 1.4826 * np.median(off[inside])
            after = max(0.01, 6 * own)
            same = (now == marks).all() and after == cut
            cut, marks = after, now
            if same:
                break
        good, more_x, more_y, noise, lost = without_odd(full[1][1], starts, slice(first + a, first + b + 1), x, course, marks)
        x, y = np.append(x[good], more_x), np.append(y[good], more_y)
        order = np.argsort(x, kind="stable")
        keep.append((x[order], y[order]))
        spread = max(spread, noise)
        for place in lost:  # the same place in several legs is one dropout
            near = [d for d in dropouts if abs(d[0][:2] - place).max() < 0.02]
            (near[0] if near else dropouts.append([]) or dropouts[-1]).append(np.append(place, (way, speed ** -2)))
    return figures_of_sweep(data[0], legs, t, keep, places(dropouts), low, high) | {"delay": total + found, "noise": spread}


def places(dropouts):
    """From where to where: the furthest of both directions' weighted means."""
    ends = []
    for seen in map(np.array, dropouts):
        means = [np.average(seen[seen[:, 2] == way][:, :2], axis=0, weights=seen[seen[:, 2] == way][:, 3])
                 for way in np.unique(seen[:, 2])]
        ends.append((min(m[0] for m in means), max(m[1] for m in means)))
    return sorted(ends)


def unified(largest, u_of_it, u):
    """Of the largest of len(u) deviations of either sign: the most likely size, and the uncertainty by the interval
    after Feldman and Cousins (1998)."""
    alone = u.max() * np.sqrt(2 * np.log(1000 * len(u)))
    if largest > alone + 8 * u_of_it:
        return largest, u_of_it
    width = u_of_it / 16
    before = int(np.ceil(largest / width))
    after = int(np.ceil((max(largest, alone) + 6 * u_of_it - largest) / width))
    edge = largest + (np.arange(before + after + 2) - before - 0.5) * width
    theta = np.linspace(0, largest + 4 * u_of_it, 2 + int((largest + 4 * u_of_it) / u_of_it * 5))
    noise, real = np.zeros(len(edge)), edge > 0
    others = np.ones(np.count_nonzero(real))
    for one, count in zip(*np.unique(u, return_counts=True)):
        others *= (1 - 2 * ndtr(-edge[real] / one)) ** count
    noise[real] = others / (1 - 2 * ndtr(-edge[real] / u_of_it))
    below = noise * (1 - ndtr((theta[:, None] - edge) / u_of_it) - ndtr((-theta[:, None] - edge) / u_of_it))
    share = np.maximum(0, np.diff(below, axis=1))
    best = share.max(axis=0)
    rank = share / np.where(best > 0, best, 1)
    seen = rank[:, before:before + 1]
    first = (share * np.where(rank > seen, 1, np.where(rank == seen, 0.5, 0)))[:, best > 0].sum(axis=1)
    at = int(share[:, before].argmax())
    likely = theta[at]
    if 0 < at < len(theta) - 1:
        y = np.log(share[at - 1: at + 2, before])
        bend = y[0] - 2 * y[1] + y[2]
        likely += theta[1] * 0.5 * (y[0] - y[2]) / bend if bend < 0 else 0
    inside = first < 0.95
    if not inside.any():
        return likely, 0.0
    a, b = int(inside.argmax()), len(theta) - 1 - int(inside[::-1].argmax())
    low = theta[a] - theta[1] * (first[a] - 0.95) / (first[a] - first[a - 1]) if a else 0
    high = theta[b] if b + 1 == len(theta) else theta[b + 1] - theta[1] * (first[b + 1] - 0.95) / (first[b + 1] - first[b])
    return likely, max(high - likely, likely - low) / 1.959964


def roughness(keep, legs, low, high, slope, noise):
    """Departures of a hundred bins from the parabolas through their neighbours, and reversals."""
    width, sums, offs, counts = (high - low) / 100, np.zeros((2, 100)), np.zeros((2, 100)), np.zeros((2, 100))
    for (x, y), leg in zip(keep, legs):
        inside = slice(*np.searchsorted(x, (low, high)))
        x, y, d = x[inside], y[inside], int(leg[2] > 0)
        j = np.minimum(((x - low) / width).astype(int), 99)
        away = x - (low + (j + 0.5) * width)
        sums[d] += np.bincount(j, y - slope * away, 100)
        offs[d] += np.bincount(j, away / width, 100)
        counts[d] += np.bincount(j, minlength=100)
    known = (counts > 0).all(axis=0)  # a dropout may be wider than a bin
    counts[counts == 0] = 1
    mean, off = (sums / counts).mean(axis=0), (offs / counts).mean(axis=0)
    u = 0.5 * noise * np.sqrt((1 / counts).sum(axis=0))
    steps = np.diff(mean) * np.sign(slope) < -4 * np.hypot(u[1:], u[:-1])
    steps &= known[1:] & known[:-1]
    reversals = np.count_nonzero(steps[1:] & ~steps[:-1]) + steps[0]
    middle = np.arange(3, 97)
    near = middle[:, None] + np.array((-3, -2, -1, 1, 2, 3))
    there = (known[near] & (near >= 3) & (near < 97)).astype(float)
    used = known[middle] & (there.sum(axis=1) >= 5)
    middle, near, there = middle[used], near[used], there[used]
    x = (near - middle[:, None] + off[near] - off[middle][:, None]) / 3
    y = mean[near] - slope * (near - middle[:, None]) * width
    columns = np.stack((there, there * x, there * x * x), axis=2)
    inverse = np.linalg.inv(columns.transpose(0, 2, 1) @ columns)
    shares = (columns @ inverse[:, :, :1])[:, :, 0]
    apart = abs(mean[middle] - (shares * y).sum(axis=1))
    own = np.sqrt(u[middle] ** 2 + (shares ** 2 * u[near] ** 2).sum(axis=1))
    most = int(apart.argmax())
    return *unified(apart[most], own[most], own), reversals


def turning_points(series, legs, t, noise):
    """Of each turn: the mean of the readings that stand there."""
    x, v, _ = series
    ends = {1: [], -1: []}
    for (a, _, way), side in zip(legs[1:], [-leg[2] for leg in legs[1:]]):
        i = int(np.searchsorted(x, t[a]))
        part = v[max(0, i - 60): i + 61]
        furthest = side * (side * part).max()
        ends[side].append(part[abs(part - furthest) <= 6 * noise].mean())
    return ends


def figures_of_sweep(series, legs, t, keep, dropouts, low, high):
    inset = 0.03 * (high - low)
    centres, half = np.linspace(low + inset, high - inset, 21), 0.5 * (high - low - 2 * inset) / 20
    value, own, rss, dof = np.empty((len(legs), 21)), np.empty((len(legs), 21)), 0.0, 0
    for k, (x, y) in enumerate(keep):
        cuts = np.searchsorted(x, (centres - half, centres + half))
        for j, (a, b) in enumerate(cuts.T):
            u = x[a:b] - x[a:b].mean()
            square = u @ u
            mean, slope = y[a:b].mean(), (u @ y[a:b]) / square
            r = y[a:b] - mean - slope * u
            away = centres[j] - x[a:b].mean()
            value[k, j], own[k, j] = mean + slope * away, 1 / (b - a) + away * away / square
            rss, dof = rss + r @ r, dof + b - a - 2
    noise = np.sqrt(rss / dof)
    up = np.array([leg[2] > 0 for leg in legs])
    curve = np.stack((value[~up].mean(axis=0), value[up].mean(axis=0)))
    mean = curve.mean(axis=0)
    span = abs(mean[-1] - mean[0])
    chord = mean[0] + (mean[-1] - mean[0]) * np.linspace(0, 1, 21)
    a, b = np.triu_indices(21, 1)
    off = mean - ((mean[b] - mean[a]) / (b - a))[:, None] * np.arange(21)
    apart, doubts = [], []  # legs of one direction
    for way in (up, ~up):
        some = np.flatnonzero(way)
        i, k = (some[index] for index in np.triu_indices(len(some), 1))
        apart.append(abs(value[i] - value[k]).ravel())
        doubts.append(noise * np.sqrt(own[i] + own[k]).ravel())
    apart, doubts = np.concatenate(apart), np.concatenate(doubts)
    most = int(apart.argmax())
    repeats = unified(apart[most], doubts[most], doubts)[0]
    x, y = (np.concatenate([part[i] for part in keep]) for i in (0, 1))
    judged = (x >= low + inset) & (x <= high - inset)
    slope = line(x[judged], y[judged], 0)[1]
    rough, _, _ = roughness(keep, legs, low, high, slope, noise)
    ends = turning_points(series, legs, t, 1e-9)
    outermost = min(ends[-1]), max(ends[1])
    margins = [np.mean(y[near] - slope * (x[near] - e)) for e in outermost
               for near in [abs(x - e) <= 0.003 * (outermost[1] - outermost[0])]]
    return {"linearity terminal-based": abs(mean - chord).max() / span, "linearity independent": np.ptp(off, axis=1).min() / 2 / span,
            "hysteresis": abs(curve[0] - curve[1]).max() / span, "repeatability": repeats / span,
            "smoothness": rough / abs(slope * (high - low)), "margin low": min(margins), "margin high": 1 - max(margins),
            "usable range": max(np.array([*(d[0] for d in dropouts), min(ends[1])])
                                - np.array([max(ends[-1]), *(d[1] for d in dropouts)])),
            "widest dropout": max((b - a for a, b in dropouts), default=0)}


# ---- the run ----

WORK = {"level": level, "extreme": extreme, "step response": step_response, "stroke": stroke, "sensor sweep": sensor_sweep,
        "relay leak": relay_leak, "staircase": staircase}
# How far the two may differ, of the value: where the scalar steps that are left out here would still move it.
NEAR = {"usable range": 0.0001, "hysteresis": 0.06, "linearity terminal-based": 0.02, "noise": 0.6, "dead time": 0.01, "inaccuracy": 0.1,
        "delay": 0.01}
AT_LEAST = {"level": 20, "extreme": 20, "step response": 20, "stroke": 14, "sensor sweep": 8, "relay leak": 14, "staircase": 15}


def main():
    slow = 0
    with tempfile.TemporaryDirectory(prefix="endstop-bench-") as folder:
        run = subprocess.run([sys.argv[1], folder], capture_output=True, text=True)
        if run.returncode != 0:
            sys.exit(run.stderr)
        print("| measure | endstop, ms | numpy, ms | times as fast as numpy | times the floor |\n| --- | --- | --- | --- | --- |")
        for text in run.stdout.splitlines():
            name, samples, ours, floor, *values = text.split("|")
            columns = np.fromfile(f"{folder}/{name}.bin")
            count = 2 if name == "sensor sweep" else 1
            data = [(t, y, np.zeros(len(t), np.uint8)) for t, y in columns.reshape(count, 2, -1)]
            best = float("inf")
            for _ in range(5):
                began = time.process_time()
                found = WORK[name](data)
                best = min(best, time.process_time() - began)
            for value in values:
                output, number = value.split("=")
                near = NEAR.get(output, 0.002) * abs(float(number))
                if abs(found[output] - float(number)) > near:
                    sys.exit(f"{name}: {output}: numpy {found[output]:.9g}, endstop {number}: not the same job")
            ratio = best / float(ours)
            slow += ratio < AT_LEAST[name]
            print(f"| {name} | {1e3 * float(ours):.2f} | {1e3 * best:.1f} | {ratio:.1f} | {float(ours) / float(floor):.1f} |",
                  flush=True)
    sys.exit(1 if slow else 0)


main()

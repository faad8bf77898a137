"""The same steps in OpenCV and NumPy, written plainly: what a measurement costs that is put together from a library's parts.

    python3 benches/opencv_numpy.py PHOTO.jpg [THREADS]

Reduce, look for a row of even marks by its spectrum, read the marks, rectify, find the lattice of the stitches in local
spectra, follow it over the swatch by local correlation, fit the gauge by least squares. It is told that the swatch is
stockinette and the ruler in centimetres; it has no second look, no trial of other readings, no uncertainty, no refusals
worth the name, so it does less than the project's own chain. Without THREADS it uses as many as OpenCV likes. Prints one
line of JSON: milliseconds of each step, their sum without decoding, and the gauge. Without OpenCV it says SKIPPED.
"""

import json
import sys
import time

try:
    import cv2
    import numpy as np
except ImportError:
    print("SKIPPED: OpenCV (opencv-python-headless) or NumPy is not there")
    sys.exit(0)

SEARCHED_PX = 1600  # longer side of the picture in which marks are looked for
MARK_PX = (3.5, 14.0)  # a millimetre there: photos that show 11 to 46 cm
STITCHES_PER_MM = (0.04, 0.6)  # what hand knitting has
SHEET_PX_PER_MM = 8.0


def reduce_photo(photo):
    """A smaller grey copy, and how much smaller it is."""
    scale = max(1.0, max(photo.shape[:2]) / SEARCHED_PX)
    size = (round(photo.shape[1] / scale), round(photo.shape[0] / scale))
    small = cv2.resize(photo, size, interpolation=cv2.INTER_AREA)
    return cv2.cvtColor(small, cv2.COLOR_BGR2GRAY).astype(np.float32), scale


def strip(grey, start, end, half_width):
    """Rows of pixels from start to end, side by side, one pixel a sample."""
    along = np.subtract(end, start)
    length = int(np.hypot(*along))
    u = along / max(length, 1)
    across = np.array([-u[1], u[0]])
    t = np.arange(length, dtype=np.float32)
    s = np.arange(-half_width, half_width + 1, dtype=np.float32)
    x = start[0] + t[None, :] * u[0] + s[:, None] * across[0]
    y = start[1] + t[None, :] * u[1] + s[:, None] * across[1]
    return cv2.remap(grey, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def comb(profile):
    """Score and period of the evenest row of marks in a profile: eight harmonics against the spectrum's median."""
    n = len(profile)
    spectrum = np.abs(np.fft.rfft((profile - cv2.blur(profile[None], (31, 1))[0]) * np.hanning(n), 4 * n))
    floor = np.median(spectrum) + 1e-6
    first = np.arange(int(4 * n / MARK_PX[1]), int(4 * n / MARK_PX[0]))
    score = np.zeros(len(first))
    for k in range(1, 9):
        bins = first * k
        inside = bins < len(spectrum)
        score[inside] += np.log1p(spectrum[bins[inside]] / floor) / np.sqrt(k)
    best = int(np.argmax(score))
    return score[best], 4 * n / first[best]


def find_marks(grey):
    """The strip beside a long straight edge that is most like a comb: its ends and the step of its marks."""
    edges = cv2.Canny(cv2.GaussianBlur(grey, (0, 0), 1.5).astype(np.uint8), 20, 60)
    lines = cv2.HoughLinesP(edges, 1, np.pi / 720, 120, minLineLength=grey.shape[1] // 5, maxLineGap=12)
    best = (0.0, None)
    for x0, y0, x1, y1 in (lines[:, 0] if lines is not None and lines.ndim == 3 else lines)[:60]:
        length = np.hypot(x1 - x0, y1 - y0)
        normal = np.array([-(y1 - y0), x1 - x0]) / length
        for offset in (-14, -8, -4, 4, 8, 14):
            a, b = np.array([x0, y0]) + offset * normal, np.array([x1, y1]) + offset * normal
            profile = strip(grey, a, b, 1).mean(axis=0)
            score, period = comb(profile)
            if score > best[0]:
                best = (score, (a, b, period))
    return best[1]


def read_marks(full, found, scale):
    """Places of the marks at full size, to a part of a pixel, and the pixels per mm along them."""
    a, b, period = found
    profile = strip(full, a * scale, b * scale, 3).mean(axis=0)
    period *= scale
    smooth = cv2.GaussianBlur(profile[None], (0, 0), period / 8)[0]
    smooth -= cv2.blur(smooth[None], (int(period) | 1, 1))[0]
    lows = np.flatnonzero((smooth[1:-1] < smooth[:-2]) & (smooth[1:-1] <= smooth[2:]) & (smooth[1:-1] < -0.3 * smooth.std())) + 1
    bend = smooth[lows - 1] - 2 * smooth[lows] + smooth[lows + 1]
    places = lows + 0.5 * (smooth[lows - 1] - smooth[lows + 1]) / bend
    index = np.cumsum(np.concatenate([[0], np.rint(np.diff(places) / period)]))
    keep = np.ones(len(places), bool)
    for _ in range(4):
        # A projective map from number to place: place + number * place * p2 = p0 + p1 * number.
        rows = np.stack([np.ones(keep.sum()), index[keep], -index[keep] * places[keep]], axis=1)
        p = np.linalg.lstsq(rows, places[keep], rcond=None)[0]
        rest = np.abs((p[0] + p[1] * index) / (1 + p[2] * index) - places)
        keep = rest < max(3 * np.median(rest), 0.3)
    return (places[keep][-1] - places[keep][0]) / (index[keep][-1] - index[keep][0])


def rectify(photo, px_per_mm):
    """The picture on a millimetre grid, in logarithms of light, evenly lit."""
    factor = SHEET_PX_PER_MM / px_per_mm
    homography = np.diag([factor, factor, 1.0])
    size = (int(photo.shape[1] * factor), int(photo.shape[0] * factor))
    # Averaged first where many pixels fall into one, or the fine ones would fold.
    shrink = max(1, int(1 / factor))
    if shrink > 1:
        photo = cv2.resize(photo, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
        homography = homography @ np.diag([shrink, shrink, 1.0])
    flat = cv2.warpPerspective(photo, homography, size, flags=cv2.INTER_LINEAR)
    table = np.log((np.arange(256) / 255.0) ** 2.2 + 0.008).astype(np.float32)
    light = table[cv2.cvtColor(flat, cv2.COLOR_BGR2GRAY)]
    window = (int(4 * SHEET_PX_PER_MM) | 1,) * 2
    light -= cv2.blur(light, window)
    return light / np.sqrt(cv2.blur(light * light, window) + 1e-4)


def spectrum_peaks(tile, count=16):
    """The strongest lines of a tile's whitened spectrum: frequencies in cycles per pixel, amplitudes over the noise."""
    n = tile.shape[0]
    taper = np.hanning(n)[:, None] * np.hanning(n)[None, :]
    power = np.abs(np.fft.fftshift(np.fft.fft2(tile * taper)))
    y, x = np.mgrid[-(n // 2) : n - n // 2, -(n // 2) : n - n // 2]
    ring = np.hypot(x, y).astype(int)
    order = np.argsort(ring, axis=None)
    starts = np.searchsorted(ring.ravel()[order], np.arange(ring.max() + 2))
    medians = np.array([np.median(power.ravel()[order[a:b]]) if b > a else 1.0 for a, b in zip(starts, starts[1:])])
    white = power / medians[ring]
    top = (white == cv2.dilate(white, np.ones((3, 3)))) & (ring > 3) & (ring < n // 2 - 2) & ((y > 0) | ((y == 0) & (x > 0)))
    at = np.argwhere(top)
    at = at[np.argsort(-white[top])][:count]
    peaks = []
    for j, i in at:
        logs = np.log(white[j - 1 : j + 2, i - 1 : i + 2])
        dx = 0.5 * (logs[1, 0] - logs[1, 2]) / (logs[1, 0] - 2 * logs[1, 1] + logs[1, 2])
        dy = 0.5 * (logs[0, 1] - logs[2, 1]) / (logs[0, 1] - 2 * logs[1, 1] + logs[2, 1])
        peaks.append(((i - n // 2 + dx) / n, (j - n // 2 + dy) / n, white[j, i]))
    return np.array(peaks)


READINGS = [(1, 0), (2, 0), (0, 1), (0, 2), (1, 1), (1, -1), (2, 1), (2, -1)]


def find_lattice(light):
    """Frequencies of stitches and rows where they stand up best, and that place."""
    n = 384
    best = (0.0, None, None)
    for y0 in range(0, light.shape[0] - n + 1, n // 2):
        for x0 in range(0, light.shape[1] - n + 1, n // 2):
            peaks = spectrum_peaks(light[y0 : y0 + n, x0 : x0 + n])
            f, weight = peaks[:, :2], np.log(peaks[:, 2])
            candidates = []
            for i in range(8):
                for j in range(i + 1, 8):
                    for a in READINGS:
                        for b in READINGS:
                            index = np.array([a, b], float)
                            if abs(np.linalg.det(index)) < 1e-9:
                                continue
                            candidates.append(np.linalg.solve(index, f[[i, j]]))
            bases = np.array(candidates)
            size = np.linalg.norm(bases, axis=2)
            s, r = size[:, 0], size[:, 1]
            skew = np.abs((bases[:, 0] * bases[:, 1]).sum(axis=1)) / (s * r)
            knit = (s * SHEET_PX_PER_MM > STITCHES_PER_MM[0]) & (s * SHEET_PX_PER_MM < STITCHES_PER_MM[1])
            bases = bases[knit & (r / s > 1.0) & (r / s < 1.75) & (skew < 0.15)]
            if len(bases) == 0:
                continue
            index = np.einsum("pf,bfi->bpi", f, np.linalg.inv(bases))
            off = f[None] - np.einsum("bpi,bif->bpf", np.rint(index), bases)
            held = np.linalg.norm(off, axis=2) < 1.2 / n
            chance = np.pi * (1.2 / n) ** 2 / np.abs(np.linalg.det(bases))
            # Stockinette's own lines, the second harmonic of the stitches and the legs of the V, must be among them.
            own = np.zeros(len(bases))
            for line in ((2, 0), (1, 1), (1, -1)):
                near = held & (np.abs(np.abs(np.rint(index)) - np.abs(line)).sum(axis=2) == 0)
                own += (near * weight).max(axis=1)
            score = (held * weight).sum(axis=1) - chance * weight.sum() + 2 * own
            k = int(np.argmax(score))
            if score[k] > best[0]:
                best = (score[k], bases[k], (x0 + n / 2, y0 + n / 2))
    return best[1], best[2]


def follow(light, basis, seed):
    """Places of every second stitch and row, from the seed outwards, by correlation with what was seen so far."""
    stitch, row = np.linalg.inv(basis).T
    half = int(3 * max(np.linalg.norm(stitch), np.linalg.norm(row)))
    reach = max(2, int(0.25 * min(np.linalg.norm(stitch), np.linalg.norm(row))))

    def patch(at, margin=0):
        x, y, w = at[0], at[1], half + margin
        if x < w + 1 or y < w + 1 or x > light.shape[1] - w - 2 or y > light.shape[0] - w - 2:
            return None
        return cv2.getRectSubPix(light, (2 * w + 1, 2 * w + 1), (float(x), float(y)))

    motif = patch(seed).copy()
    places = {(0, 0): np.array(seed, float)}
    quality = {(0, 0): 1.0}
    todo = [(0, 0)]
    while todo:
        todo.sort(key=lambda k: quality[k])
        at = todo.pop()
        for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            k = (at[0] + di, at[1] + dj)
            if k in places:
                continue
            near = [q for q in places if abs(q[0] - k[0]) <= 2 and abs(q[1] - k[1]) <= 2]
            guess = np.mean([places[q] + 2 * ((k[0] - q[0]) * stitch + (k[1] - q[1]) * row) for q in near], axis=0)
            seen = patch(guess, reach)
            if seen is None:
                continue
            match = cv2.matchTemplate(seen, motif, cv2.TM_CCOEFF_NORMED)
            _, high, _, (mx, my) = cv2.minMaxLoc(match)
            if high < 0.25 or not (0 < mx < 2 * reach and 0 < my < 2 * reach):
                continue
            dx = 0.5 * (match[my, mx - 1] - match[my, mx + 1]) / (match[my, mx - 1] - 2 * high + match[my, mx + 1])
            dy = 0.5 * (match[my - 1, mx] - match[my + 1, mx]) / (match[my - 1, mx] - 2 * high + match[my + 1, mx])
            places[k] = guess + (mx - reach + dx, my - reach + dy)
            quality[k] = high
            todo.append(k)
            if len(places) < 60:
                motif += patch(places[k])
    return places


def fit(places):
    """Stitches and rows per 10 cm: least squares of places over counts, twice, without what lies off."""
    index = 2.0 * np.array(list(places.keys()))
    xy = np.array(list(places.values())) / SHEET_PX_PER_MM
    keep = np.ones(len(xy), bool)
    for _ in range(2):
        rows = np.column_stack([np.ones(keep.sum()), index[keep]])
        steps = np.linalg.lstsq(rows, xy[keep], rcond=None)[0]
        rest = np.linalg.norm(xy - np.column_stack([np.ones(len(xy)), index]) @ steps, axis=1)
        keep = rest < 4 * np.median(rest) + 1e-9
    return 100 / np.linalg.norm(steps[1]), 100 / np.linalg.norm(steps[2]), int(keep.sum())


def main():
    if len(sys.argv) > 2:
        cv2.setNumThreads(int(sys.argv[2]))
    data = np.fromfile(sys.argv[1], np.uint8)
    best = None
    for _ in range(5):
        times = {}

        def timed(name, work, *arguments):
            start = time.perf_counter()
            result = work(*arguments)
            times[name] = 1e3 * (time.perf_counter() - start)
            return result

        photo = timed("decode", cv2.imdecode, data, cv2.IMREAD_COLOR)
        small, scale = timed("reduce", reduce_photo, photo)
        found = timed("find marks", find_marks, small)
        grey = timed("grey", lambda p: cv2.cvtColor(p, cv2.COLOR_BGR2GRAY).astype(np.float32), photo)
        px_per_mm = timed("read marks", read_marks, grey, found, scale)
        light = timed("rectify", rectify, photo, px_per_mm)
        basis, seed = timed("find lattice", find_lattice, light)
        places = timed("follow", follow, light, basis, seed)
        stitches, rows, used = timed("fit", fit, places)
        steps = sum(v for k, v in times.items() if k != "decode")
        if best is None or steps < best["steps_ms"]:
            best = {"decode_ms": times["decode"], "steps_ms": steps, "ms": times}
        best["decode_ms"] = min(best["decode_ms"], times["decode"])
    best |= {"px_per_mm": px_per_mm, "stitches_per_10cm": stitches, "rows_per_10cm": rows, "places": used}
    print(json.dumps(best))


main()

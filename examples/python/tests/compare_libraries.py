"""The library's figures and times against general-purpose libraries, on the same arrays in one run: `./compare.sh` prints them.

Two weeks of an invented person, a reading every five minutes, no gaps. Figures must agree to the digits that are printed.
"""

import time
import warnings

import glidepath
import numpy as np
import scipy.linalg
import scipy.signal

warnings.filterwarnings("ignore")  # of optimisers and frequencies, which nothing here uses
SEED, DAYS = 2_500_000, 14
trace = glidepath.simulate(SEED, days=DAYS).trace
values = trace["glucose_mg_dl"].astype(np.float64)
assert (np.diff(trace["time"]) == np.timedelta64(300, "s")).all() and len(values) == DAYS * 288
pair = (trace["time"], trace["glucose_mg_dl"])
rows, failed = [], []


def timed(work, least_s=0.2):
    """The best of some runs, and what came of it."""
    work()
    best, spent = np.inf, 0.0
    while spent < least_s:
        begun = time.perf_counter()
        out = work()
        took = time.perf_counter() - begun
        best, spent = min(best, took), spent + took
    return out, best


def compared(what, digits, ours, others, skip=0):
    """Ours and those of others: the greatest difference, whether all printed digits agree, times."""
    mine, my_time = timed(ours)
    mine = np.asarray(mine, np.float64)[skip:]
    for name, other in others.items():
        theirs, their_time = timed(other)
        theirs = np.asarray(theirs, np.float64)[skip:]
        apart = np.abs(mine - theirs).max()
        # to the printed digit: no further apart than half of it
        agrees = apart < 0.5 * 10.0**-digits
        rows.append((what, name, f"{apart:.1e}", f"{digits}", "yes" if agrees else "NO", my_time, their_time))
        if not agrees:
            failed.append((what, name))


def smooth(method, **parameters):
    return lambda: glidepath.smooth(*pair, method=method, **parameters)["level_mg_dl"]


# --- smoothing ---
window = 7


def savgol(order):
    return lambda: scipy.signal.savgol_filter(values, window, order, mode="nearest")


def end_points(order):
    weights = scipy.signal.savgol_coeffs(window, order, pos=window - 1, use="dot")
    return lambda: np.concatenate([np.full(window - 1, np.nan), np.lib.stride_tricks.sliding_window_view(values, window) @ weights])


for order in (1, 2):
    compared(f"Savitzky-Golay end point, order {order}, 30 min", 3, smooth("savitzky_golay", window_min=30, order=order),
             {"scipy.signal.savgol_coeffs": end_points(order)}, skip=window - 1)  # fmt: skip

alpha = 1 - np.exp(-5 / 10)


def scipy_exponential():
    out, _ = scipy.signal.lfilter([alpha], [1, alpha - 1], values, zi=[(1 - alpha) * values[0]])
    return out


def statsmodels_exponential():
    from statsmodels.tsa.holtwinters import SimpleExpSmoothing

    fit = SimpleExpSmoothing(values, initialization_method="known", initial_level=values[0]).fit(alpha, optimized=False)
    return fit.level


compared("exponential, 10 min", 3, smooth("exponential", time_constant_min=10),
         {"scipy.signal.lfilter": scipy_exponential, "statsmodels SimpleExpSmoothing": statsmodels_exponential})  # fmt: skip

# --- the four-state filter: the model of `Model::linear()`, its matrices worked out here by the matrix exponential ---
LAG, RATE_TIME, DRIVE, COLOURED_SD, COLOURED_TIME, WHITE_SD, STEP = 8.0, 35.0, 0.04, 5.0, 25.0, 2.5, 5.0
drift = np.zeros((4, 4))
drift[0, 1], drift[1, 1] = 1, -1 / RATE_TIME
drift[2, 0], drift[2, 2] = 1 / LAG, -1 / LAG
drift[3, 3] = -1 / COLOURED_TIME
noise = np.diag([0, DRIVE, 0, 2 * COLOURED_SD**2 / COLOURED_TIME])
# Van Loan 1978, IEEE Trans. Automatic Control 23:395
block = scipy.linalg.expm(np.block([[-drift, noise], [np.zeros((4, 4)), drift.T]]) * STEP)
F = block[4:, 4:].T
Q = F @ block[:4, 4:]
H = np.array([[0.0, 0, 1, 1]])
P0 = np.diag([400.0, max(0.5 * DRIVE * RATE_TIME, 2.0), 400.0, COLOURED_SD**2])
x0 = np.array([values[0], 0, values[0], 0])


def filterpy_filter():
    from filterpy.kalman import KalmanFilter

    kalman = KalmanFilter(4, 1)
    kalman.x, kalman.P, kalman.F, kalman.Q, kalman.H, kalman.R = x0.reshape(4, 1).copy(), P0.copy(), F, Q, H, np.array([[WHITE_SD**2]])
    out = np.empty((len(values), 2))
    out[0] = x0[0], np.sqrt(P0[0, 0])
    for n in range(1, len(values)):
        kalman.predict()
        kalman.update(values[n])
        out[n] = kalman.x[0, 0], np.sqrt(kalman.P[0, 0])
    return out


def statsmodels_filter():
    from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

    kalman = KalmanFilter(k_endog=1, k_states=4, k_posdef=4)
    kalman.bind(values[1:].reshape(-1, 1))
    kalman["design"], kalman["transition"], kalman["selection"], kalman["state_cov"] = H, F, np.eye(4), Q
    kalman["obs_cov"] = np.array([[WHITE_SD**2]])
    kalman.initialize_known(F @ x0, F @ P0 @ F.T + Q)
    got = kalman.filter()
    out = np.empty((len(values), 2))
    out[0] = x0[0], np.sqrt(P0[0, 0])
    out[1:, 0], out[1:, 1] = got.filtered_state[0], np.sqrt(got.filtered_state_cov[0, 0])
    return out


def ours_filter():
    out = glidepath.smooth(*pair, method="four_state_kalman")
    return np.column_stack([out["level_mg_dl"], out["level_sd_mg_dl"]])


for n, (what, digits) in enumerate((("four-state Kalman filter: level", 3), ("four-state Kalman filter: its sd", 3))):
    compared(what, digits, lambda n=n: ours_filter()[:, n], {
        "filterpy KalmanFilter": lambda n=n: filterpy_filter()[:, n],
        "statsmodels KalmanFilter": lambda n=n: statsmodels_filter()[:, n],
    })  # fmt: skip

# --- looking back ---
review = glidepath.review(*pair)
by_hand = {
    "mean": (review.figures["mean_mg_dl"], values.mean(), 3),
    "standard deviation": (review.figures["sd_mg_dl"], values.std(ddof=1), 3),
    "below 70, %": (review.figures["below_70_percent"], 100 * (values < 70).mean(), 3),
    "70 to 180, %": (review.figures["from_70_to_180_percent"], 100 * ((values >= 70) & (values <= 180)).mean(), 3),
}
for what, (mine, theirs, digits) in by_hand.items():
    compared(what, digits, lambda mine=mine: [mine], {"numpy": lambda theirs=theirs: [theirs]})
    rows[-1] = rows[-1][:5] + (np.nan, np.nan)
quarter = (trace["time"].astype(np.int64) % 86_400) // 900


def quantiles():
    return np.array([np.quantile(values[quarter == q], [0.05, 0.25, 0.5, 0.75, 0.95]) for q in range(96)]).ravel()


profile = np.column_stack([review.day_profile[name] for name in ("p05", "p25", "p50", "p75", "p95")]).ravel()
compared("480 quantiles of the day's profile", 3, lambda: profile, {"numpy.quantile": quantiles})
rows[-1] = rows[-1][:5] + (np.nan, np.nan)
rows.append(("a whole review, all its figures", "numpy: mean, SD, 480 quantiles", "", "", "",
             timed(lambda: glidepath.review(*pair))[1], timed(lambda: (values.mean(), values.std(ddof=1), quantiles()))[1]))  # fmt: skip

print(f"{len(values)} readings of an invented person (seed {SEED}), numpy {np.__version__}, scipy {scipy.__version__}\n")
print("| figure | against | greatest difference | digits after the point | agree | glidepath, ms | other, ms |")
print("| --- | --- | --- | --- | --- | --- | --- |")
for what, name, apart, digits, agrees, mine, theirs in rows:
    ms = ["" if np.isnan(s) else f"{1000 * s:.2f}" for s in (mine, theirs)]
    print(f"| {what} | {name} | {apart} | {digits} | {agrees} | {ms[0]} | {ms[1]} |")
assert not failed, failed

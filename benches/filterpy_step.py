"""The same four-state step by filterpy, for those who compute in Python: nanoseconds a step.

Optional: pip install filterpy, then python3 benches/filterpy_step.py. Its last state is to be held against
the table of `cargo run --release --manifest-path benches/Cargo.toml`; F and Q come from the closed form.
"""

import time

import numpy as np
from filterpy.kalman import KalmanFilter

LAG, TIME, DRIVE, COLOURED, COLOURED_TIME, WHITE, STEP = 8.0, 35.0, 0.04, 5.0, 25.0, 2.5, 5.0


def response(t):
    """What a unit rate does to glucose, rate and interstitial glucose after t minutes."""
    faded, settled = -np.expm1(-t / TIME), -np.expm1(-t / LAG)
    return np.array([TIME * faded, 1.0 - faded, TIME * (settled - (settled - faded) * TIME / (TIME - LAG))])


g, r, i = response(STEP)
settled, kept = -np.expm1(-STEP / LAG), np.exp(-STEP / COLOURED_TIME)
nodes = STEP * (0.5 + np.sqrt(0.15) * np.array([-1.0, 0.0, 1.0]))
q = sum(w / 18.0 * STEP * np.outer(v, v) for w, v in zip((5, 8, 5), map(response, nodes)))

kalman = KalmanFilter(dim_x=4, dim_z=1)
kalman.x = np.array([[120.0], [0.0], [120.0], [0.0]])
kalman.P = np.diag([100.0, 1.0, 100.0, 25.0])
kalman.F = np.array([[1, g, 0, 0], [0, r, 0, 0], [settled, i, 1 - settled, 0], [0, 0, 0, kept]])
kalman.Q = np.zeros((4, 4))
kalman.Q[:3, :3] = DRIVE * q
kalman.Q[3, 3] = COLOURED**2 * (1 - kept**2)
kalman.H = np.array([[0.0, 0.0, 1.0, 1.0]])
kalman.R = np.array([[WHITE**2]])

steps = 3000
began = time.perf_counter()
for k in range(steps):
    kalman.predict()
    kalman.update(120.0 + 40.0 * np.sin(k / 30.0))
print(f"{(time.perf_counter() - began) / steps * 1e9:.0f} ns a step; variances", np.diag(kalman.P).round(3))

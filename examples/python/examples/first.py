"""A first look: the embedded demo (invented) replayed as the wrist would have lived it, and a monitor reading by reading.

>>> report = main()
1047 readings of an invented person, 1 gap, 4 lows by the sensor
12:30 on the second day: 131 mg/dL (sd 16), steady; a low within half an hour: 1 %
First alarms: a low is ahead, glucose is low, glucose is very low
Live: 108 mg/dL, falling
"""

import datetime

import glidepath
import numpy as np


def main():
    demo = glidepath.demo()
    result = glidepath.replay(demo.trace, fingersticks=demo.fingersticks)
    report, samples = result.report, result.samples
    print(
        f"{report['readings']} readings of an invented person, {report['gaps']} gap, "
        f"{report['episodes_below_70']} lows by the sensor"
    )
    noon = np.searchsorted(samples["time"], np.datetime64("2024-05-07T12:30"))
    print(
        f"12:30 on the second day: {samples['plasma_mg_dl'][noon]:.0f} mg/dL "
        f"(sd {samples['plasma_sd_mg_dl'][noon]:.0f}), {samples['trend'][noon]}; a low within half an hour: "
        f"{100 * samples['low_probability_30min'][noon]:.0f} %"
    )
    begun = [n for n, cause in enumerate(result.alarms["cause"]) if cause == "new"]
    print("First alarms:", ", ".join(str(result.alarms["message"][n]) for n in begun[:3]))

    monitor = glidepath.Monitor()
    at = datetime.datetime(2024, 5, 6, 14, 0)
    for mg_dl in (150, 141, 131, 120, 108):
        view = monitor.push(at, mg_dl)
        at += datetime.timedelta(minutes=5)
    print(f"Live: {view.shown_mg_dl:.0f} mg/dL, {view.trend}")
    return report


if __name__ == "__main__":
    main()
    print(glidepath.CAUTION)

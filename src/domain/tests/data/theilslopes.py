# Writes theilslopes.json: series like those of checks, and what scipy.stats.theilslopes makes of them.
# Run it with SciPy in the folder where it lies:  python3 theilslopes.py
import json
import numpy
import scipy
from scipy.stats import theilslopes

rng = numpy.random.default_rng(20261125)
series = []


def add(name, x, y):
    x, y = [float(v) for v in x], [float(v) for v in y]
    got = theilslopes(y, x, 0.95)
    series.append({
        "name": name, "x": x, "y": y,
        "slope": float(got.slope), "intercept": float(got.intercept),
        "low": float(got.low_slope), "high": float(got.high_slope),
    })


def noise(n, size):
    return rng.normal(0, size, n)


for n in (2, 3, 5, 8, 20, 21, 60, 120):
    x = numpy.arange(n)
    add(f"daily, {n} readings, no drift", x, 40 + noise(n, 15))
    add(f"daily, {n} readings, drifting", x, 40 - 1.3 * x + noise(n, 15))
for step in (10, 20, 50):
    x = numpy.arange(90)
    y = numpy.round((1600 - 0.6 * x + noise(90, 15)) / step) * step
    add(f"read off to {step} psi: many ties", x, y)
x = numpy.sort(rng.uniform(0, 200, 70))
add("at odd times", x, 0.9 * x + noise(70, 20))
x = numpy.repeat(numpy.arange(30), 2)
add("two checks a day, at the same moment", x, 0.4 * x + noise(60, 10))
x = numpy.repeat(numpy.arange(20), 3)
add("three checks at each moment, read off to 20 psi", x, numpy.round((2.0 * x + noise(60, 12)) / 20) * 20)
x = numpy.arange(0, 700, 7)
add("weekly", x, -0.1 * x + noise(100, 15))
x = numpy.arange(80)
y = 0.8 * x + noise(80, 5)
y[::9] += 400
add("with wild readings", x, y)
add("heavy tails", x, 0.2 * x + rng.standard_t(2, 80) * 10)
add("flat but for one", numpy.arange(30), [0.0] * 29 + [100.0])
add("always the same", numpy.arange(25), [50.0] * 25)
add("falling to the limit", numpy.arange(150), numpy.linspace(0, -450, 150) + noise(150, 25))
# So many readings at one moment that their ties move the interval.
n = numpy.arange(24)
add("eight readings at each of three moments", n // 8 * 7, 3 * (n // 8 * 7) + (n * 7) % 11 * 2.5)

with open("theilslopes.json", "w") as out:
    json.dump({"source": f"scipy.stats.theilslopes, SciPy {scipy.__version__}, alpha 0.95, method 'separate'; made by theilslopes.py",
               "series": series}, out, indent=0)
    out.write("\n")
print(len(series))

#!/usr/bin/python3
"""The simulated car by a general-purpose adaptive solver beside the Go plant.

Runs `go run ./sim/adaptive`, integrates the same launches with scipy's
solve_ivp from crank event to crank event, and prints both. See README.md.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from math import atan, exp, pi, sin, sqrt, tanh

import numpy
import scipy
from scipy.integrate import solve_ivp

sys.dont_write_bytecode = True  # leave no cache folder in the source tree

from car import (BIN, BINS, BURNT, EVO, FRESH, IVC, LHV, OX_AIR, OX_FUEL, R, RPM, Car, Cylinder, clamp, h_burnt,
                 h_fresh, orifice, psi_air, psi_gas, t_from_u)

G = 9.80665
# State, with the size that the absolute tolerance is relative to. The
# independent variable is the crank angle, so that events need no search.
STATE = dict(
    time=1, speed=300, plenum_kg=4e-3, plenum_j=1e3, pipe_kg=1e-2, pipe_j=2e3, turbo=5e3, gate=1, flow=0.1,
    port_kg=1e-3, port_j=1e3, port_fuel=1e-5, port_o2=1e-4, man_kg=2e-3, man_j=2e3, man_fuel=1e-5, man_o2=1e-4,
    wall_k=1e3, trap_kg=5e-4, trap_j=100, pumped_ex=50, pumped_in=50,
    driven=100, twist=0.05, wheel=10, slip=0.1, v=5, x=5, pitch=5, pitch_rate=30)
I = {name: i for i, name in enumerate(STATE)}
SCALE = numpy.array(list(STATE.values()), float)
STILL = 0.01  # m/s over which rolling drag turns round at standstill


def signed_root(x):
    return sqrt(x) if x > 0.01 else -sqrt(-x) if x < -0.01 else x / 0.1


def magic(t, s):
    x = t["B"] * s
    return sin(t["C"] * atan(x - t["E"] * (x - atan(x))))


class Run:
    """One launch: right-hand side, crank events, driver."""

    def __init__(self, car, cond, script, method, rtol):
        self.car, self.cond, self.s = car, cond, script
        self.method, self.rtol = method, rtol
        self.rhs_count = self.bins = self.cut = self.commits = 0
        self.cutting = self.stuck = False
        self.pa, self.k = cond["AmbientPa"], cond["AmbientK"]
        self.ratio = car.box["Ratios"][script["Gear"] - 1] * car.box["Final"]
        self.cyl = [Cylinder(car, self.pa) for _ in range(car.n)]
        self.bin, self.gas_nm = 0, 0.0
        self.y = self.start()

    def start(self):
        car, y = self.car, numpy.zeros(len(STATE))

        def fill(name, k, volume, a):
            kg = self.pa * volume / (R * k)
            y[I[name + "_kg"]], y[I[name + "_j"]] = kg, kg * k * (a + 0.09 * k)

        y[I["speed"]], y[I["turbo"]] = self.s["StartRPM"] / RPM, 500
        fill("plenum", self.k, car.vplenum, FRESH)
        fill("pipe", self.k, car.vpipe, FRESH)
        fill("man", 700, car.vman, BURNT)
        y[I["man_o2"]], y[I["wall_k"]] = 0.1 * y[I["man_kg"]], car.ex["WallStartK"]
        return y

    # driver

    def clutch(self, t):
        s, t = self.s, t - self.s["HoldS"]
        if t <= 0:
            return 0.0
        if t < s["FirstS"]:
            return s["ClutchFirst"] * t / s["FirstS"]
        return min(1.0, s["ClutchFirst"] + (1 - s["ClutchFirst"]) * (t - s["FirstS"]) / s["ClutchFull"])

    def fuel_given(self):
        self.commits += 1
        over = self.y[I["speed"]] * RPM - self.s["CeilingRPM"]
        if not self.s["CeilingRPM"] or self.y[I["time"]] >= self.s["HoldS"] or over < -self.s["HystRPM"]:
            self.cutting = False
        elif over > 0:
            self.cutting = True
        self.cut += self.cutting
        return not self.cutting

    # right-hand side: d/dt of everything, over the crank speed

    def rhs(self, _, y):
        self.rhs_count += 1
        car = self.car
        (t, w, ple_kg, ple_j, pipe_kg, pipe_j, turbo, gate, flow, port_kg, port_j, port_f, port_o, man_kg, man_j,
         man_f, man_o, wall_k, _, _, _, _, driven, twist, wheel, slip, v, _, pitch, prate) = y.tolist()
        ple_k = t_from_u(FRESH, ple_j / ple_kg)
        ple = ple_kg * R * ple_k / car.vplenum
        pipe_k = t_from_u(FRESH, pipe_j / pipe_kg)
        pipe = pipe_kg * R * pipe_k / car.vpipe
        man_k = t_from_u(BURNT, man_j / man_kg)
        man = man_kg * R * man_k / car.vman

        # intake
        thr = orifice(psi_air, self.plate, pipe, pipe_k, ple, ple_k)
        thr_h = thr * h_fresh(pipe_k if thr >= 0 else ple_k)
        out = car.breathing(w, man, ple) * ple / (R * ple_k) * car.vtotal / (4 * pi) * w
        out_h = out * h_fresh(ple_k)
        warm = car.intake["WallWK"] * (car.intake["WallK"] - ple_k)

        # turbo
        comp, comp_h, comp_w, eye = self.compressor(turbo, pipe, pipe_k)
        down = self.pa + car.turbo["DownPipe"] * 1e3 * flow * flow * man_k
        turb, nm = self.turbine(turbo, man, man_k, down)
        goal = clamp((pipe - car.turbo["BoostLimitKPa"] * 1e3) / (car.turbo["WastegateKPa"] * 1e3), 0, 1)
        gate_q = orifice(psi_gas, gate * car.turbo["WastegateM2"], man, man_k, down, man_k)
        tw = nm * turbo
        power = tw - (1 - car.turbo["MechEta"]) * max(0, tw) - car.turbo["Bearing"] * turbo * turbo - comp_w
        dturbo = power / (car.turbo["InertiaKgM2"] * turbo)

        # exhaust manifold
        rel = w / (car.ex["PortDeg"] * pi / 180)
        ex = turb + gate_q
        ex_h = ex * h_burnt(man_k if ex >= 0 else self.k)
        part = max(ex / man_kg, 0)
        burn = self.afterburn(man_f, man_o, man_kg, man_k)
        lost = car.ex["WallWK"] * (max(0, ex) * 10) ** 0.8 * (man_k - wall_k)
        shed = car.ex["WallOutWK"] * (wall_k - self.k)
        dman_o = rel * port_o - part * man_o - min(ex, 0) * OX_AIR - burn * OX_FUEL

        # torques
        crank = (self.gas_nm - (man * car.vtotal - ple * car.vintake) / (4 * pi) - car.friction(w)
                 + car.recip[self.bin] * w * w)
        rate = driven / self.ratio - wheel
        lash = car.box["LashRad"]
        shaft = car.box["ShaftNmRad"] * (twist - clamp(twist, -lash / 2, lash / 2)) + car.box["ShaftNms"] * rate
        if lash > 0 and abs(twist) < lash / 2:
            shaft = 0.0
        eff = car.box["Efficiency"]
        back = shaft / (self.ratio * eff) if shaft * driven > 0 else shaft * eff / self.ratio
        je, jg = car.e["InertiaKgM2"], car.launch["InertiaKgM2"]
        most = self.clutch(t) * car.launch["ClutchNm"]
        if self.stuck:
            lock = (crank / je + back / jg) / (1 / je + 1 / jg)
            load = clamp(lock, -most, most)
        else:
            load = most * self.side

        # car
        acc, fx, fz = self.traction(slip, v, wheel, pitch, y[I["x"]])
        ty, b = car.tyre, car.body
        dwheel = (shaft - fx * ty["RadiusM"] - ty["Rolling"] * fz * ty["RadiusM"] * tanh(wheel * ty["RadiusM"] / STILL)) / ty["Inertia"]
        rw = ty["RadiusM"] * wheel
        den = max(abs(rw), abs(v), 0.3)
        wp = 2 * pi * b["PitchHz"]

        d = (1, (crank - load) / je, thr - out, thr_h - out_h + warm, comp + eye - thr, comp_h - thr_h, dturbo,
             (goal - gate) / car.turbo["WastegateS"], (max(0, ex) - flow) / 0.002,
             -rel * port_kg, -rel * port_j, -rel * port_f, -rel * port_o,
             rel * port_kg - ex, rel * port_j - ex_h + burn * LHV * car.ex["OxEff"] - lost,
             rel * port_f - part * man_f - burn, dman_o, (lost - shed) / car.ex["WallJK"],
             out, out_h, man * car.vtotal / (4 * pi) * w, ple * car.vintake / (4 * pi) * w,
             (load - back) / jg, rate, dwheel, ((rw - v) / den - slip) * den / ty["RelaxM"], acc, v,
             prate, wp * wp * (acc - pitch) - 2 * b["PitchZeta"] * wp * prate)
        return [x / w for x in d]

    def compressor(self, turbo, pipe, pipe_k):
        """Flow, its enthalpy with that through the eye, power, eye flow."""
        t, t1, p1 = self.car.turbo, self.k, self.pa
        u, ratio, h1 = turbo * t["CompRadiusM"], pipe / p1, h_fresh(t1)
        most = (1 + t["CompHead"] * u * u / (2 * 1005 * t1)) ** 3.5
        root = signed_root(1 - (ratio / most) ** 2)
        if root < 0:
            root *= 0.3
        comp = t["CompFlow"] * p1 / (R * t1) / 1.204 * u * root
        power, h = 0.0, comp * h_fresh(pipe_k)
        if comp > 0:
            eta = max(0.35, t["CompEta"] - 0.45 * (root - 0.55) ** 2 - 0.03 * max(0, ratio - 1.8) ** 2)
            rise = t1 * max(0, ratio ** (2 / 7) - 1) / eta
            power = comp * (h_fresh(t1 + rise) - h1)
            h = comp * h_fresh(t1 + (1 - t["Intercooler"]) * rise)
        eye = orifice(psi_air, self.car.eye, p1, t1, pipe, pipe_k) if pipe < p1 else 0.0
        return comp, h + eye * h1, power, eye

    def turbine(self, turbo, man, man_k, down):
        t, ratio = self.car.turbo, min(down / man, 1)
        q = t["TurbFlow"] * man / sqrt(man_k) * max(0, signed_root(1 - ratio**2.3))
        dh = 1248 * man_k * (1 - ratio**0.23)
        if q <= 0 or dh <= 0:
            return q, 0.0
        c = sqrt(2 * dh)
        b = t["TurbBSR"]
        per = max(t["TurbEta"] / b * (2 - turbo * t["TurbRadiusM"] / c / b), -0.5)
        return q, q * dh * per * t["TurbRadiusM"] / c

    def afterburn(self, fuel, o2, kg, k):
        if fuel < 1e-10 or o2 <= 0:
            return 0.0
        x = self.car.ex
        return fuel * min(x["MixRate"], x["OxRate"] * exp(-x["OxK"] * (1 / k - 1 / 873)) * o2 / kg * 10)

    def traction(self, slip, v, wheel, pitch, x):
        """Acceleration, tyre force and load; the load depends on the
        acceleration, so they are iterated (the plant uses its last one)."""
        b, ty = self.car.body, self.car.tyre
        w, rw = b["MassKg"] * G, ty["RadiusM"] * wheel
        static = w * b["DrivenPart"]
        shape = magic(ty, slip)
        grip = ty["Mu0"] * (self.cond["Grip"] + self.cond["GripPerM"] * x) / (1 + abs(rw - v) / ty["SpeedMS"])
        drag = 0.5 * self.pa / (R * self.k) * b["CdA"] * v * abs(v)
        roll = ty["Rolling"] * tanh(v / STILL)
        damp = ty["DampNsM"] * (rw - v) * (1 - abs(v)) if abs(v) < 1 else 0.0
        acc = pitch
        for _ in range(20):
            fz = static + b["MassKg"] * b["HeightM"] / b["BaseM"] * (b["Direct"] * acc + (1 - b["Direct"]) * pitch)
            fz = clamp(fz, 0.02 * w, w)
            most = grip * (fz / static) ** ty["LoadExp"] * fz
            fx = clamp(most * shape + damp, -most, most)
            old, acc = acc, (fx - drag - roll * max(0, w - fz)) / (b["MassKg"] + b["RotKg"])
            if abs(acc - old) < 1e-9:
                break
        return acc, fx, fz

    # crank events

    def events(self):
        car, y = self.car, self.y
        w = y[I["speed"]]
        ple_k = t_from_u(FRESH, y[I["plenum_j"]] / y[I["plenum_kg"]])
        ple = y[I["plenum_kg"]] * R * ple_k / car.vplenum
        man = y[I["man_kg"]] * R * t_from_u(BURNT, y[I["man_j"]] / y[I["man_kg"]]) / car.vman
        for slot, c in zip(car.slot, self.cyl):
            here = (self.bin - slot) % BINS * 6
            if here == EVO:
                gone = c.open(man, y[I["pumped_ex"]])
                if gone:
                    y[I["port_kg"]:I["port_o2"] + 1] += gone
                    y[I["pumped_ex"]] = 0
            if here == IVC:
                c.close(y[I["trap_kg"]], y[I["trap_j"]], w)
                y[I["trap_kg"]] = y[I["trap_j"]] = y[I["pumped_in"]] = 0
            if here == car.e["FuelDeg"]:
                c.inject(self.fuel_given(), w, man, ple, ple_k)
            if here == car.e["SparkDeg"]:
                c.ignite(car.base_spark(w, ple), w)
        js = [(self.bin - s - IVC // 6) % BINS for s in car.slot]
        self.gas_nm = sum(c.work[j] for j, c in zip(js, self.cyl) if j < 52) / BIN
        return ple

    def one_bin(self):
        """From one bin edge to the next; stops where the clutch sticks."""
        held = self.y[I["time"]] < self.s["HoldS"]
        self.plate = self.car.throttle_area(self.s["Throttle"] if held else self.s["Drive"])
        at = 0.0
        while at < BIN:
            gap = self.y[I["speed"]] - self.y[I["driven"]]
            self.stuck = abs(gap) < 1e-6
            self.side = 1.0 if gap > 0 else -1.0

            def slip(_, y):
                return y[I["speed"]] - y[I["driven"]]

            slip.terminal, slip.direction = True, -self.side
            extra = {"first_step": BIN - at} if self.method == "RK45" else {}
            r = solve_ivp(self.rhs, (at, BIN), self.y, self.method, rtol=self.rtol, atol=self.rtol * SCALE,
                          events=None if self.stuck else slip, **extra)
            if not r.success:
                raise RuntimeError(f"{self.method} at {self.y[0]:.4f} s: {r.message}")
            self.y, at = r.y[:, -1].copy(), r.t[-1]
            if r.status == 1:
                self.y[I["driven"]] = self.y[I["speed"]]
            if self.y[I["speed"]] < 35:
                raise RuntimeError(f"engine stalled at {self.y[0]:.4f} s")
        self.bins += 1

    def go(self, times):
        """Run to 60 ft; returns its time and samples at the times."""
        mark, left, sixty, samples = self.cond["MarkFrom"] + 18.288, 0.0, 0.0, []
        ple = self.pa
        began = time.perf_counter()
        while not sixty:
            y0, ple0 = self.y, ple
            self.one_bin()
            self.bin = (self.bin + 1) % BINS
            y1 = self.y
            ple = self.events()

            def crossed(i, at):
                return y0[0] + (y1[0] - y0[0]) * (at - y0[i]) / (y1[i] - y0[i])

            if not left and y1[I["x"]] >= self.cond["Rollout"]:
                left = crossed(I["x"], self.cond["Rollout"])
            if y1[I["x"]] >= mark:
                sixty = crossed(I["x"], mark) - left
            while len(samples) < len(times) and y1[0] >= times[len(samples)]:
                f = (times[len(samples)] - y0[0]) / (y1[0] - y0[0])
                mid = y0 + f * (y1 - y0)
                samples.append((mid[I["speed"]] * RPM, (ple0 + f * (ple - ple0)) / 1e3, mid[I["v"]]))
            if y1[0] > 8:
                raise RuntimeError("60 ft not reached in 8 s")
        self.wall, self.sim = time.perf_counter() - began, y1[0]
        return sixty, samples


def report(name, script, plant, cond, car, solvers):
    best = plant[0]
    fast = best["SimS"] / best["WallS"]
    print(f"\nLaunch: {name}")
    print(f"{'integrator':28}{'60 ft s':>10}{'diff ms':>9}{'sim s':>8}{'wall s':>9}{'x real':>9}{'ratio':>8}"
          f"{'eval/sim s':>12}{'cut':>10}")

    def line(label, sixty, sim, wall, evals, cut, of):
        speed = sim / wall
        print(f"{label:28}{sixty:10.5f}{1e3 * (sixty - best['SixtyS']):9.2f}{sim:8.3f}{wall:9.4f}{speed:9.2f}"
              f"{fast / speed:8.1f}{evals / sim:12.0f}{f'{cut}/{of}':>10}", flush=True)

    for p in plant:
        line(f"plant, step <= {p['StepS']:g} s", p["SixtyS"], p["SimS"], p["WallS"], p["Steps"],
             p["FuelWithhd"], p["FuelCommits"])
    rows = {"plant": [(s["RPM"], s["ManifoldKPa"], s["CarMS"]) for s in best["Samples"]],
            "plant 1e-5": [(s["RPM"], s["ManifoldKPa"], s["CarMS"]) for s in plant[-1]["Samples"]]}
    for method, rtol in solvers:
        r = Run(car, cond, script, method, rtol)
        sixty, rows[f"{method} {rtol:g}"] = r.go(script["Times"])
        line(f"{method}, rtol {rtol:g}", sixty, r.sim, r.wall, r.rhs_count, r.cut, r.commits)
    print("at s:" + " " * 11 + "".join(f"{t:>22g}" for t in script["Times"]))
    for label, row in rows.items():
        print(f"{label:16}" + "".join(f"{a:9.1f}{b:7.2f}{c:6.2f}" for a, b, c in row))
    print("(engine rpm, manifold kPa, car m/s)")


def main():
    a = argparse.ArgumentParser(description=__doc__)
    a.add_argument("--rtol", default="1e-4,1e-6", help="relative tolerances of the solvers")
    a.add_argument("--methods", default="RK45,LSODA")
    a = a.parse_args()
    here = os.path.dirname(os.path.abspath(__file__))
    ran = subprocess.run(["go", "run", "."], cwd=here, stdout=subprocess.PIPE, check=False)
    if ran.returncode:
        sys.exit("compare.py: `go run ./sim/adaptive` failed; its message is above")
    data = json.loads(ran.stdout)
    go = subprocess.run(["go", "version"], cwd=here, stdout=subprocess.PIPE, text=True, check=False).stdout.strip()
    print(f"{go}; Python {platform.python_version()}, scipy {scipy.__version__}, numpy {numpy.__version__}; "
          f"{platform.machine()}, {os.cpu_count()} cores")
    solvers = [(m, float(r)) for m in a.methods.split(",") for r in a.rtol.split(",")]
    car = Car(data["car"])
    for script, plant in zip(data["launches"], data["plant"]):
        report(script["Name"], script, plant, data["conditions"], car, solvers)


if __name__ == "__main__":
    main()

"""Parameters and closed cycle of the simulated car, for compare.py.

The same equations as package sim (see its package doc for sources), with exact
functions where the plant uses tables. Only what demo car 1 has: a turbo, a
clutch, port injection, an even-firing in-line engine. SI units.
"""

from bisect import bisect_right
from math import cos, exp, floor, pi, radians, sin, sqrt

R, FRESH, BURNT, GASB = 287.0, 672.0, 800.0, 0.18
LHV, AFR, OX_FUEL, OX_AIR = 43.0e6, 14.6, 3.38, 0.2314
IVC, EVO, BINS = 588, 132, 120
BIN = radians(6)
RPM = 30 / pi
HALF = 0.5175  # share of the burn duration at which half is burnt


def u_fresh(t):
    return t * (FRESH + 0.5 * GASB * t)


def h_fresh(t):
    return t * (FRESH + R + 0.5 * GASB * t)


def u_burnt(t):
    return t * (BURNT + 0.5 * GASB * t)


def h_burnt(t):
    return t * (BURNT + R + 0.5 * GASB * t)


def t_from_u(a, u):
    return (sqrt(a * a + 2 * GASB * u) - a) / GASB


def clamp(x, lo, hi):
    return lo if x < lo else hi if x > hi else x


def flow_function(gamma):
    """psi of an isentropic orifice, a straight line above 0.985."""
    crit = (2 / (gamma + 1)) ** (gamma / (gamma - 1))

    def exact(r):
        r = max(r, crit)
        return sqrt(2 * gamma / (gamma - 1) * (r ** (2 / gamma) - r ** ((gamma + 1) / gamma)))

    edge = exact(0.985)

    def psi(r):
        return exact(r) if r <= 0.985 else edge * (1 - r) / 0.015

    return psi


psi_air, psi_gas = flow_function(1.4), flow_function(1.3)


def orifice(psi, a, p1, t1, p2, t2):
    if p1 >= p2:
        return a * p1 / sqrt(R * t1) * psi(p2 / p1)
    return -a * p2 / sqrt(R * t2) * psi(p1 / p2)


class Car:
    """Geometry and derived constants from the parameters that sim prints."""

    def __init__(self, p):
        self.e, self.c = p["Engine"], p["Combustion"]
        self.intake, self.ex, self.turbo = p["Intake"], p["Exhaust"], p["Turbo"]
        self.fuel, self.launch, self.box = p["Fuel"], p["Launch"], p["Gearbox"]
        self.tyre, self.body = p["Tyre"], p["Body"]
        self.sizes()
        self.cycle()

    def sizes(self):
        e = self.e
        self.n = len(e["Order"])
        self.bore, self.stroke, self.rod = (e[k] * 1e-3 for k in ("BoreMM", "StrokeMM", "RodMM"))
        self.area = pi / 4 * self.bore**2
        self.vcyl = self.area * self.stroke
        self.vtotal = self.vcyl * self.n
        self.vclear = self.vcyl / (e["Compression"] - 1)
        self.vivc, self.vevo = self.volume(IVC - 720), self.volume(EVO)
        self.vintake = (self.vivc - self.vclear) * self.n
        self.slot = [k * BINS // self.n for k in range(self.n)]
        i = self.intake
        self.throttle = i["ThrottleCd"] * pi / 4 * (i["ThrottleMM"] * 1e-3) ** 2
        self.leak = i["LeakMM2"] * 1e-6
        self.vplenum, self.vpipe = i["PlenumL"] * 1e-3, i["PipeL"] * 1e-3
        self.vman = self.ex["VolumeL"] * 1e-3
        self.eye = 0.3 * pi * (0.7 * self.turbo["CompRadiusM"]) ** 2
        self.recip = [self.recip_torque(b * BIN) for b in range(BINS)]

    def recip_torque(self, a):
        e, o = self.e, self.e["RecipOrder"]
        span = cos(o * (a + BIN)) - cos(o * a)
        return e["RecipFactor"] * e["RecipKg"] * (self.stroke / 2) ** 2 * span / (o * BIN) if o else 0

    def volume(self, deg):
        r, a = self.stroke / 2, radians(deg)
        return self.vclear + self.area * (r * (1 - cos(a)) + self.rod - sqrt(self.rod**2 - (r * sin(a)) ** 2))

    def cycle(self):
        """Motored cycle and blow-down work, as the plant lays them out."""
        nc, ne = self.c["PolyComp"], self.c["PolyExp"]
        v = self.vol = [self.volume(2 * i - 132) for i in range(133)]
        self.wall = [2 * self.area + pi * self.bore * x / self.area for x in v]
        top = (self.vivc / v[66]) ** nc
        m = self.motored = [(self.vivc / x) ** nc if i <= 66 else top * (v[66] / x) ** ne for i, x in enumerate(v)]
        self.unit = []
        for j in range(44):
            a, b, n = 3 * j, 3 * j + 3, nc if j < 22 else ne
            self.unit.append((m[a] * v[a] - m[b] * v[b]) / (n - 1))
        self.blow = []
        for j in range(8):
            man = evo = 0.0
            for i in range(12):
                a = EVO + 6 * j + 0.5 * i
                dv = self.volume(a + 0.5) - self.volume(a)
                g = 1 - (a + 0.25 - EVO) / 60
                man += (1 - g) * dv
                evo += g * dv * (self.vevo / self.volume(a + 0.25)) ** 1.28
            self.blow.append((man, evo))

    def eta(self, w):
        x, y, rpm = self.e["EtaRPM"], self.e["Eta"], w * RPM
        i = bisect_right(x, rpm)
        if i == 0 or i == len(x):
            return y[min(i, len(x) - 1)]
        return y[i - 1] + (y[i] - y[i - 1]) * (rpm - x[i - 1]) / (x[i] - x[i - 1])

    def breathing(self, w, man, plenum):
        eps = self.e["Compression"]
        return max(0.02, self.eta(w) * (eps - (man / plenum) ** (1 / 1.35)) / (eps - 1))

    def friction(self, w):
        n = w * RPM / 1000
        return self.e["FrictionFac"] * (0.97 + 0.15 * n + 0.05 * n * n) * 1e5 * self.vtotal / (4 * pi)

    def burn_base(self, w):
        return self.c["Burn3000Deg"] * (max(w * RPM, 300) / 3000) ** 0.25

    def base_spark(self, w, pa):
        c = self.c
        want = c["BaseCA50"] + c["BaseCA50Bar"] * max(0, pa * 1e-5 - 1)
        dur = self.burn_base(w) * (1 + c["BurnResidual"] * 0.05)
        if want > 20:
            dur *= 1 + c["BurnLate"] * (want - 20)
        return min(HALF * dur - want, self.e["MaxAdvance"])

    def throttle_area(self, opening):
        return self.leak + self.throttle * (1 - cos(opening * pi / 2))


class Cylinder:
    """What one cylinder holds, and its events on bin edges."""

    def __init__(self, car, ambient):
        self.car = car
        self.resk, self.res = 600.0, ambient * car.vclear / (R * 600.0)
        self.mass, self.energy = self.res, self.res * u_burnt(600.0)
        self.film = self.injected = self.air = self.fuel = self.reso2 = self.resfuel = 0.0
        self.ivcpa = self.released = self.wallj = self.burnt = 0.0
        self.fired = False
        self.work = [0.0] * 52

    def inject(self, give, w, man, plenum, plenumk):
        car, f = self.car, self.car.fuel
        self.injected = 0.0
        if give:
            air = car.breathing(w, man, plenum) * plenum / (R * plenumk) * car.vcyl
            most = f["InjectorGS"] * 1e-3 * max(0, 0.9 * 4 * pi / w - f["InjectorDead"])
            self.injected = min(air / (AFR * f["Lambda"]), most)

    def close(self, kg, j, w):
        """IVC: what left the plenum since the last IVC, fuel and residual."""
        car, c, f = self.car, self.car.c, self.car.fuel
        off = self.film * (1 - exp(-4 * pi / w / f["FilmS"]))
        on = f["FilmShare"] * self.injected
        self.fuel = self.injected - on + off
        self.film += on - off
        self.injected, self.air = 0.0, kg
        fresh = kg + self.fuel
        self.mass = fresh + self.res
        cold = c["EvapK"] * min(1, self.fuel * AFR / max(kg, 1e-9))
        t = t_from_u(FRESH + R, j / kg) + c["PortHeatK"] - cold
        h = fresh * h_fresh(t) + self.res * h_burnt(self.resk)
        a = (fresh * FRESH + self.res * BURNT) / self.mass
        self.ivck = t_from_u(a + R, h / self.mass)
        self.ivcpa = self.mass * R * self.ivck / car.vivc
        self.energy = self.mass * u_burnt(self.ivck)
        self.motor()

    def motor(self):
        car = self.car
        self.work[:44] = [self.ivcpa * x for x in car.unit]
        self.work[44:] = [0.0] * 8
        self.evopa = self.ivcpa * car.motored[132]
        self.evok = self.evopa * car.vevo / (self.mass * R)
        self.released = self.burnt = 0.0
        self.wallj = self.energy - sum(self.work) - self.mass * u_burnt(self.evok)
        self.fired = False

    def ignite(self, advance, w):
        c = self.car.c
        if self.ivcpa == 0:
            return
        fuel = self.fuel + self.resfuel
        o2 = OX_AIR * self.air + self.reso2
        lam = min(99, o2 / (OX_FUEL * fuel)) if fuel > 0 else 99
        if not c["LambdaRich"] <= lam <= c["LambdaLean"] or self.res > c["MaxResidual"] * self.mass:
            return
        self.fired = True
        d = self.car.burn_base(w) * (1 + c["BurnResidual"] * self.res / self.mass)
        d *= 1 + c["BurnLambda"] * (lam - 0.9) ** 2
        late = -advance + HALF * d - 20
        if late > 0:
            d *= 1 + c["BurnLate"] * late
        self.burn(-advance, d, min(fuel, o2 / OX_FUEL) * LHV * c["BurnEff"], w)

    def burn(self, spark, dur, heat, w):
        """Single-zone closed cycle in steps of 2 degrees: the plant's own
        quadrature, because its angle grid is part of the model."""
        car, c, m = self.car, self.car.c, self.mass
        at = floor((spark + 132) / 2)
        n = c["PolyComp"] if at < 66 else c["PolyExp"]
        n_bin = c["PolyComp"] if 3 * (at // 3) < 66 else c["PolyExp"]
        v = car.volume(spark)
        p = self.ivcpa * car.motored[at] * (car.vol[at] / v) ** n
        head = 3 * (at // 3)
        head_work = (self.ivcpa * car.motored[head] * car.vol[head] - p * v) / (n_bin - 1)
        t = p * v / (m * R)
        u = m * u_burnt(t)
        j = at // 3
        wall = self.energy - sum(self.work[:j]) - head_work - u
        work, last, burnt = {j: head_work}, spark, 0.0
        gas = 2.28 * car.stroke / pi * w
        aux = 3.24e-3 * car.vcyl * self.ivck / (self.ivcpa * car.vivc)
        coef = c["WallCoef"] * 3.26 * car.bore**-0.2
        for i in range(at + 1, 133):
            to = 2 * i - 132
            x = 1 - exp(-5 * ((to - spark) / dur) ** 3)
            speed = gas + aux * max(0, p - self.ivcpa * car.motored[i - 1])
            h = coef * (p * 1e-3 * speed) ** 0.8 * t**-0.55
            q = h * car.wall[i] * (t - c["WallK"]) * radians(to - last) / w
            dv, rise = car.vol[i] - v, heat * (x - burnt) - q
            guess = m * R * t_from_u(BURNT, (u + rise - p * dv) / m) / car.vol[i]
            done = 0.5 * (p + guess) * dv
            u, wall, v, last, burnt = u + rise - done, wall + q, car.vol[i], to, x
            t = t_from_u(BURNT, u / m)
            p = m * R * t / v
            work[(i - 1) // 3] = work.get((i - 1) // 3, 0.0) + done
        for j, x in work.items():
            self.work[j] = x
        self.burnt, self.released, self.wallj = burnt, heat * burnt, wall
        self.evopa, self.evok = p, t

    def open(self, man, pumped):
        """EVO: returns mass, energy, fuel and oxygen that go to the ports."""
        car = self.car
        if self.ivcpa == 0:
            return None
        self.work[44:] = [man * a + self.evopa * b for a, b in car.blow]
        t = self.evok * (man / self.evopa) ** (0.28 / 1.28)
        res = min(man * car.vclear / (R * t), 0.9 * self.mass)
        left = sum(self.work[44:]) + res * u_burnt(t)
        # what the cylinder holds at EVO: its gas has done all work of the closed bins
        j = self.energy - sum(self.work[:44]) + self.released - self.wallj + pumped - left
        self.energy = left
        o2, fuel = OX_AIR * self.air + self.reso2, self.fuel + self.resfuel
        burnt = min(fuel, o2 / OX_FUEL) * self.burnt
        o2, fuel, keep = o2 - burnt * OX_FUEL, fuel - burnt, res / self.mass
        self.reso2, self.resfuel = max(0, o2 * keep), max(0, fuel * keep)
        mix = 1.0 if self.fired else car.ex["MixShare"]
        out = (self.mass - res, j, max(0, fuel * (1 - keep)) * mix, max(0, o2 * (1 - keep)))
        self.mass, self.res, self.resk = res, res, t
        return out

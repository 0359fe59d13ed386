// Package sim is the plant: a simulated spark-ignition car for launches, from
// throttle plate to finish beam, resolved to the single firing event. It knows
// nothing of any controller, reads no files, and uses SI units and float64
// throughout. The same inputs and seed give the same bytes on every processor.
//
// # How it is driven
//
// A Car holds the parameters, Compile checks them and builds a Model, New puts
// a Plant on the line under given Conditions. A harness then repeats, once a
// tick (1 ms by default):
//
//	buf = p.Upcoming(buf[:0], tick)       // commits that this tick will reach
//	for each: p.Decide(cyl, cycle, kind, give, advance)
//	p.Advance(&actuators)                 // to the end of the tick
//	p.Teeth, p.State.Sensors, p.Events, p.Truth
//
// Each engine cycle of a cylinder asks two questions: whether fuel is given
// (injection start, 204 degrees after the previous firing dead centre) and
// whether and when it sparks (dwell start, 96 degrees before the coming one).
// Both carry the same cycle id. The plant latches the answer when the crank
// gets there; when there is none, Advance stops at that angle, says so, and
// the same tick goes on with the next call. A decision therefore takes effect
// with the delay of a real engine: about 520 to 740 crank degrees for fuel, 100
// to 400 for spark. No delay is a parameter.
//
// All that changes is in State, a plain value: copying it is a snapshot.
//
// # Stepping
//
// The crank turns in bins of 6 degrees (one tooth of a 60 tooth wheel); every
// event lies on a bin edge. Within a bin the continuous states take even parts
// of at most 0.2 ms by semi-implicit Euler. Torque is constant in a sub-step,
// so angle is mean speed times time and the work done is exact; the last
// rounding of a bin is carried into the next. Gas volumes hold mass and
// internal energy, never pressure, so balances close to round-off. Dry friction
// is an impulse cut at its capacity [10], which sticks exactly. Noise is a
// function of seed, stream and index, drawn at events only.
//
// # Equations
//
// Marks: [n] published source below; derived: follows from the others; illus:
// illustrative, chosen for the demo cars.
//
// Part 1, gases (gas.go): R = 287, cv = a + 0.18 T with a = 672 fresh and 800
// burnt (illus), u = aT + 0.09 T^2, h = u + RT. Orifice
// m' = A p/sqrt(RT) psi(P), isentropic, choked, straight to zero above 0.985
// [1 app. C, 2].
//
// Part 2, intake (gases.go): throttle A = Cd A0 (1 - cos) and a leak; outflow by
// speed-density with eta(N) (eps - (p_em/p_im)^(1/1.35))/(eps - 1) [2, 3, 5].
// Fuel film: X of each injection to the wall, evaporating over tau [6, 7].
//
// Part 3, closed cycle (cycle.go, burn.go): two polytropes to the spark, then a single
// zone in steps of 2 degrees: dU = dQ_b - dQ_w - p dV with Wiebe burn a = 5,
// m = 2 [1 ch. 9] and Woschni heat transfer [11; 1 eq. 12.19]. Burn duration
// 55 deg (N/3000)^0.25 (1 + 1.8 x_r)(1 + 2 (lambda - 0.9)^2), longer when CA50
// passes 20 degrees, shorter with oxidiser (illus; form [1, 12]). Heat is
// limited by fuel or oxygen, whichever ends first; nitrous oxide adds its heat
// of decomposition. No burn outside lambda 0.55 to 1.5, above 40 % residual, or
// with the spark within 12 degrees of EVO (illus).
//
// Part 4, exhaust (evo.go, manifold.go): blow-down work by a fixed pressure
// profile, residual by isentropic expansion, and the exhaust enthalpy is what
// the first law leaves: H = m u - (W - p_em V) - m_r u_r. There is no
// temperature map. Ports empty over 70 degrees (illus). After-burning in the
// manifold at min(k_mix, k(T) y_O2/0.10), k = 20/s at 873 K with 18735 K
// activation [1 ch. 11], oxygen-limited; 0.4 of an unfired charge can take
// part (illus). Wall heat and wall temperature [14].
//
// Part 5, turbo (turbo.go): Pi_max = (1 + Psi U^2/(2 cp T))^3.5,
// m' = A_c U sqrt(1 - (Pi/Pi_max)^2) [4, 13, 15]; turbine m' = k p/sqrt(T)
// sqrt(1 - P^2.3), efficiency a parabola over blade speed ratio, written so
// that torque is finite at standstill [2, 19]; wastegate, intercooler
// effectiveness, down-pipe k m'^2 T.
//
// Part 6, losses: friction 0.75 (0.97 + 0.15 n + 0.05 n^2) bar, n in 1000 rpm
// [8]; pumping (p_em V_d - p_im (V_ivc - V_c))/(4 pi); inertia torque of the
// reciprocating mass, second order for a four, fourth for a cross-plane eight
// [1, 22].
//
// Part 7, nitrous oxide (nitrous.go): bottle in equilibrium [23], saturation
// lines of ESDU 91022 [24] (checked against [25]), jet by Bernoulli times 0.7
// for flashing (illus), valve with dead time and lag, line that fills and
// empties. Dry: the port injectors add NitrousFuel of the rated amount. Wet: a
// fuel jet beside it.
//
// Part 8, launch device (driveline.go): clutch as an impulse at most the
// commanded capacity [10]; converter T_i = (w/K(SR))^2, T_t = R(SR) T_i [9, 26];
// trans-brake as a capacity on the turbine that fades after its dead time.
// Shaft k phi + d dphi/dt [16, 22]. A clutch gearbox opens its clutch for the
// shift; a converter gearbox blends from ratio to ratio.
//
// Part 9, tyre and car (vehicle.go): relaxed slip on the larger speed, Magic
// Formula, friction falling with load and sliding speed [17]; load transfer,
// part at once, part through pitch [16, 18]; clocks interpolated in the
// sub-step.
//
// Where this differs from the specification it was built from: the intake
// stroke is credited with V_ivc - V_c instead of V_d, because the trapped
// charge is compressed from V_ivc on; below ambient pressure the compressor's
// eye also passes air like an opening (0.3 of its area, illus), because a slow
// wheel does not choke an engine; compressor flow goes with inlet density; a
// line between valve and jet is a first-order lag; dry enrichment is a command
// and not a perfect guess of the share of oxidiser in the plenum; residual
// carries its oxygen and fuel; the demo cars have less back-pressure.
//
// # Weaknesses
//
// After-burning: the two constants MixShare and MixRate decide how much boost a
// spark cut at base timing builds; nobody's measurement was found. Sweep them.
// Single zone: no knock, no NOx, no peak temperatures to rely on. One mean
// exhaust volume and a quasi-steady turbine: no pulse tuning, no twin scroll.
// Exhaust at 20 to 30 degrees after dead centre near full flow is 1450 to
// 1600 K by the first law, with no limit of the material. Torque falls with
// retard at the fast end of the band of another single-zone model (0.968, 0.890,
// 0.787 against at least 0.97, 0.89, 0.78 at 10, 20, 30 degrees), and with the
// demo burn duration best torque comes at less advance than published engines
// need. Oxidiser flows by one flashing factor: right for a bottle against a
// manifold, a quarter too little where the pressures are near each other. Gas exchange: trapped temperature is by mixing enthalpies; what that
// leaves of the first law, with port heating, the fuel's own heat and the step
// between the two gas sets, is booked as Ledger.Exchange, 2 to 3 % of the fuel.
// Quasi-static converter; no fade of the clutch; no wrinkling or heating of the
// tyre; surge is a sign flip; oxidiser that flows back through the throttle is
// forgotten; a stalled engine does not restart. Evaporation heat of the bottle
// is within 3 % to 25 C only.
//
// # Sources
//
// Titles are as remembered unless marked "seen", which means that an abstract
// or excerpt was read.
//
//	[1]  Heywood, Internal Combustion Engine Fundamentals, 1988
//	[2]  Guzzella, Onder, Introduction to Modeling and Control of IC Engine Systems, 2nd ed. 2010
//	[3]  Hendricks, Sorenson, SAE 900616, 1990
//	[4]  Eriksson et al., Modeling of a turbocharged SI engine, Annual Reviews in Control 26, 2002 (seen)
//	[5]  Hendricks et al., SAE 960037, 1996
//	[6]  Aquino, SAE 810494, 1981
//	[7]  Hendricks et al., SAE 930767, 1993
//	[8]  Barnes-Moss, IMechE 1975, as in [1] ch. 13
//	[9]  Kotwicki, SAE 820393, 1982; Hrovat, Tobler, J. Franklin Inst. 319, 1985
//	[10] Stewart, SIAM Review 42, 2000; compare Karnopp, ASME J. Dyn. Syst. 107, 1985
//	[11] Woschni, SAE 670931, 1967
//	[12] Lindström et al., SAE 2005-01-2106, 2005
//	[13] Moraal, Kolmanovsky, SAE 1999-01-0908, 1999 (seen)
//	[14] Eriksson, SAE 2002-01-0374, 2002
//	[15] Eriksson, Oil & Gas Sci. Tech. 62, 2007
//	[16] Rajamani, Vehicle Dynamics and Control, 2nd ed. 2012
//	[17] Pacejka, Tire and Vehicle Dynamics, 3rd ed. 2012
//	[18] Gillespie, Fundamentals of Vehicle Dynamics, 1992
//	[19] Watson, Janota, Turbocharging the Internal Combustion Engine, 1982
//	[20] US Standard Atmosphere, 1976
//	[21] Budynas, Nisbett, Shigley's Mechanical Engineering Design, ch. 16
//	[22] Kiencke, Nielsen, Automotive Control Systems, 2005
//	[23] Zimmerman et al., AIAA 2013-4045 (seen); Fernandez 2009, Whitmore & Chandler 2010 (seen)
//	[24] ESDU 91022, Thermophysical properties of nitrous oxide
//	[25] Lemmon, Span, J. Chem. Eng. Data 51, 2006
//	[26] SAE J643 and VDI 2153, definitions of hydrodynamic drives
package sim

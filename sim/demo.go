package sim

// The three demo cars are inventions of this project: their names, numbers and
// stories belong to no one, and no real car was measured for them. The figures
// are illustrative and hang together; they are not anybody's data.

// DemoCars returns the three demo cars, ready to compile.
func DemoCars() []Car { return []Car{TurboFour(), TurboEight(), PlainEight()} }

// common is what the demo cars share.
func common() Car {
	return Car{
		Engine: Engine{
			FrictionFac: 0.75, ColdFactor: 1.5,
			FuelDeg: 204, SparkDeg: 624, MaxAdvance: 45,
		},
		Combustion: Combustion{
			Burn3000Deg: 55, BurnResidual: 1.8, BurnLambda: 2, BurnLate: 0.015, BurnNitrous: 0.15,
			BurnEff: 0.96, WallCoef: 2.2, WallK: 450, PolyComp: 1.33, PolyExp: 1.345,
			PortHeatK: 20, EvapK: 18, LambdaLean: 1.5, LambdaRich: 0.55, MaxResidual: 0.40,
			ScatterDeg: 1.5, ScatterPer: 0.06, BaseCA50: 8, BaseCA50Bar: 10,
		},
		Intake: Intake{ThrottleCd: 0.8, WallWK: 4, WallK: 320},
		Exhaust: Exhaust{
			WallStartK: 750, PortDeg: 70,
			MixRate: 80, MixShare: 0.4, OxRate: 20, OxK: 18735, OxEff: 0.95,
		},
		Fuel:    Fuel{Lambda: 0.88, FilmShare: 0.15, FilmS: 0.25, InjectorDead: 1e-3, InjectorErr: 0.01},
		Launch:  Launch{TransDeadS: 0.02, TransRampS: 0.05, TransErrS: 0.003},
		Gearbox: Gearbox{Efficiency: 0.93, Interrupter: true},
		Tyre: Tyre{
			B: 12, C: 1.6, E: 0.3, LoadExp: -0.08, SpeedMS: 80, RelaxM: 0.25,
			Rolling: 0.015, DampNsM: 3000, FootNm: 2500, FootFreeN: 9000,
		},
		Body: Body{Drive: "rear", RotKg: 8, PitchHz: 2, PitchZeta: 0.4, Direct: 0.45},
		Sensing: Sensing{
			Teeth: 60, Missing: 2, FirstDeg: 114, CamDeg: 432, PitchDeg: 0.05, RunoutDeg: 0.05,
			MapS: 0.008, TpsS: 0.01, CltS: 15, IatS: 3, EgtS: 2, LambdaS: 0.08, LambdaDelay: 0.06,
			MapNoiseKPa: 0.3, WheelTeeth: 48,
		},
	}
}

var etaSpeeds = []float64{500, 1500, 3000, 4500, 6000, 7500}

// TurboFour is demo car 1: a turbocharged two-litre four with a clutch.
func TurboFour() Car {
	c := common()
	c.Name = "Saltmarsh 20T"
	c.Story = "An invented club hillclimb saloon that two sisters turned to the strip: one turbo, a sintered clutch, and a habit of bogging when the boost is late."
	e := &c.Engine
	e.Order = []int{1, 3, 4, 2}
	e.BoreMM, e.StrokeMM, e.RodMM, e.Compression = 86, 86, 144, 9.0
	e.InertiaKgM2, e.RecipKg, e.RecipOrder, e.RecipFactor = 0.16, 0.55, 2, 2
	e.EtaRPM, e.Eta = etaSpeeds, []float64{0.75, 0.84, 0.92, 0.97, 0.95, 0.86}
	c.Intake.PlenumL, c.Intake.PipeL, c.Intake.ThrottleMM, c.Intake.LeakMM2 = 3.5, 9, 65, 14
	x := &c.Exhaust
	x.VolumeL, x.WallWK, x.WallOutWK, x.WallJK = 2.5, 25, 6, 3500
	c.Turbo = Turbo{
		Fitted: true, InertiaKgM2: 9e-5, CompRadiusM: 0.034, TurbRadiusM: 0.032,
		CompHead: 1.30, CompFlow: 9.5e-4, CompEta: 0.76, Intercooler: 0.72,
		TurbFlow: 2.7e-5, TurbEta: 0.70, TurbBSR: 0.65, MechEta: 0.97, Bearing: 1e-6,
		WastegateM2: 9e-4, WastegateKPa: 12, WastegateS: 0.05, DownPipe: 0.4, BoostLimitKPa: 180,
	}
	c.Fuel.InjectorGS = 9
	c.Launch.Kind, c.Launch.ClutchNm, c.Launch.InertiaKgM2 = "clutch", 520, 0.03
	g := &c.Gearbox
	g.Ratios, g.Final = []float64{3.17, 1.90, 1.31, 0.97, 0.76}, 4.10
	g.ShiftS, g.ShaftNmRad, g.ShaftNms = 0.25, 9e3, 60
	c.Tyre.Mu0, c.Tyre.Inertia, c.Tyre.RadiusM = 1.1, 2.4, 0.312
	b := &c.Body
	b.MassKg, b.DrivenPart, b.HeightM, b.BaseM, b.CdA = 1300, 0.48, 0.50, 2.57, 0.66
	return c
}

// converterCurve is the demo converter: speed ratio, K over K0, torque ratio.
func converterCurve(l *Launch) {
	l.SR = []float64{0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 1}
	l.K = []float64{1, 1, 1.01, 1.04, 1.09, 1.2, 1.3, 1.5, 2, 3.2, 8}
	l.TR = []float64{2.0, 1.78, 1.56, 1.34, 1.22, 1.10, 1.04, 1, 1, 1, 1}
}

// TurboEight is demo car 2: a turbocharged V8 with a torque converter, a
// trans-brake and two nitrous shots to bring it up.
func TurboEight() Car {
	c := common()
	c.Name = "Iron Heron"
	c.Story = "An invented heavy coupe from a grain town: a big single turbo on a cross-plane eight, a tight converter and a bottle that only comes out at the line."
	e := &c.Engine
	e.Order = []int{1, 8, 4, 3, 6, 5, 7, 2}
	e.BoreMM, e.StrokeMM, e.RodMM, e.Compression = 96.1, 92, 155, 9.2
	e.InertiaKgM2, e.RecipKg, e.RecipOrder, e.RecipFactor = 0.32, 0.7, 4, 0.18
	e.EtaRPM, e.Eta = etaSpeeds, []float64{0.78, 0.85, 0.92, 0.95, 0.90, 0.80}
	c.Intake.PlenumL, c.Intake.PipeL, c.Intake.ThrottleMM, c.Intake.LeakMM2 = 7, 18, 90, 55
	x := &c.Exhaust
	x.VolumeL, x.WallWK, x.WallOutWK, x.WallJK = 6, 45, 12, 8000
	c.Turbo = Turbo{
		Fitted: true, InertiaKgM2: 5.5e-4, CompRadiusM: 0.051, TurbRadiusM: 0.048,
		CompHead: 1.30, CompFlow: 1.9e-3, CompEta: 0.76, Intercooler: 0.75,
		TurbFlow: 7.4e-5, TurbEta: 0.70, TurbBSR: 0.65, MechEta: 0.97, Bearing: 3e-6,
		WastegateM2: 18e-4, WastegateKPa: 12, WastegateS: 0.05, DownPipe: 0.05, BoostLimitKPa: 220,
	}
	c.Fuel.InjectorGS = 14
	l := &c.Launch
	l.Kind, l.K0, l.InertiaKgM2, l.TransNm = "converter", 13.5, 0.10, 6000
	converterCurve(l)
	g := &c.Gearbox
	g.Ratios, g.Final = []float64{2.10, 1.40, 1.0}, 3.25
	g.ShiftS, g.ShaftNmRad, g.ShaftNms = 0.12, 16e3, 120
	c.Tyre.Mu0, c.Tyre.Inertia, c.Tyre.RadiusM = 1.5, 4.5, 0.345
	b := &c.Body
	b.MassKg, b.DrivenPart, b.HeightM, b.BaseM, b.CdA = 1600, 0.50, 0.55, 2.70, 0.70
	c.Nitrous = Nitrous{
		Fitted: true, BottleKg: 4.5, ShellJK: 0, JetM2: []float64{0.31e-6, 0.55e-6}, Flash: 0.7,
		OpenS: 0.012, CloseS: 0.007, LagS: 0.008, LineML: 1, PwmHz: 20,
		ChillK: 190, FuelLambda: 0.85, Wet: true,
	}
	return c
}

// PlainEight is demo car 3: a naturally aspirated V8 with a clutch.
func PlainEight() Car {
	c := common()
	c.Name = "Dray Mare"
	c.Story = "An invented working saloon with an eight and no blower: what its owner has is torque, a heavy clutch and patience."
	e := &c.Engine
	e.Order = []int{1, 8, 4, 3, 6, 5, 7, 2}
	e.BoreMM, e.StrokeMM, e.RodMM, e.Compression = 92.2, 92.7, 150, 11.0
	e.InertiaKgM2, e.RecipKg, e.RecipOrder, e.RecipFactor = 0.24, 0.7, 4, 0.18
	e.EtaRPM, e.Eta = etaSpeeds, []float64{0.76, 0.84, 0.90, 0.98, 0.96, 0.88}
	c.Intake.PlenumL, c.Intake.ThrottleMM, c.Intake.LeakMM2 = 6, 85, 36
	x := &c.Exhaust
	x.VolumeL, x.WallWK, x.WallOutWK, x.WallJK, x.OrificeM2 = 5, 45, 12, 8000, 2.3e-3
	c.Fuel.InjectorGS = 6
	c.Launch.Kind, c.Launch.ClutchNm, c.Launch.InertiaKgM2 = "clutch", 750, 0.05
	g := &c.Gearbox
	g.Ratios, g.Final = []float64{2.97, 1.90, 1.40, 1.0, 0.8}, 3.73
	g.ShiftS, g.ShaftNmRad, g.ShaftNms = 0.25, 12e3, 90
	c.Tyre.Mu0, c.Tyre.Inertia, c.Tyre.RadiusM = 1.1, 3.4, 0.335
	b := &c.Body
	b.MassKg, b.DrivenPart, b.HeightM, b.BaseM, b.CdA = 1560, 0.47, 0.53, 2.72, 0.70
	return c
}

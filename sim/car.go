package sim

// Car holds every parameter of one simulated car. It is plain data: fill one
// by hand, take a demo car, or decode one from a file by walking the struct
// tags. Each field carries its file key (toml), its unit and its allowed range
// (min, max, both inclusive); `len` limits the number of entries of a list and
// `optional` marks a part that may be left out (its Fitted field is false).
//
// Values are never changed after Compile: a Model keeps its own copy.
type Car struct {
	Name  string `toml:"name"`
	Story string `toml:"story"`

	Engine     Engine     `toml:"engine"`
	Combustion Combustion `toml:"combustion"`
	Intake     Intake     `toml:"intake"`
	Exhaust    Exhaust    `toml:"exhaust"`
	Turbo      Turbo      `toml:"turbo" optional:"fitted"`
	Fuel       Fuel       `toml:"fuel"`
	Nitrous    Nitrous    `toml:"nitrous" optional:"fitted"`
	Launch     Launch     `toml:"launch"`
	Gearbox    Gearbox    `toml:"gearbox"`
	Tyre       Tyre       `toml:"tyre"`
	Body       Body       `toml:"body"`
	Sensing    Sensing    `toml:"sensing"`
}

// Engine is the crank train and the fixed angles of the cycle. Angles are
// crank degrees after the cylinder's own firing dead centre, multiples of 6.
type Engine struct {
	Order        []int     `toml:"firing_order" unit:"-" len:"1-12" min:"1" max:"12"`                      // cylinder numbers in firing order
	IntervalsDeg []float64 `toml:"firing_intervals_deg" unit:"deg" len:"0-12" min:"6" max:"720"`           // empty: even firing
	BoreMM       float64   `toml:"bore_mm" unit:"mm" min:"40" max:"160"`                                   //
	StrokeMM     float64   `toml:"stroke_mm" unit:"mm" min:"40" max:"160"`                                 //
	RodMM        float64   `toml:"rod_mm" unit:"mm" min:"60" max:"320"`                                    //
	Compression  float64   `toml:"compression_ratio" unit:"-" min:"6" max:"18"`                            //
	InertiaKgM2  float64   `toml:"inertia_kgm2" unit:"kg m2" min:"0.01" max:"3"`                           // crank, flywheel, impeller or clutch cover
	RecipKg      float64   `toml:"reciprocating_kg" unit:"kg" min:"0" max:"3"`                             // per cylinder
	RecipOrder   int       `toml:"reciprocating_order" unit:"-" min:"0" max:"8"`                           // order of the inertia torque: 2 in-line four, 4 cross-plane eight, 0 none
	RecipFactor  float64   `toml:"reciprocating_factor" unit:"-" min:"0" max:"4"`                          // its size in m r^2 w^2: 2 in-line four
	FrictionFac  float64   `toml:"friction_factor" unit:"-" min:"0.2" max:"2"`                             // on the Barnes-Moss bracket [8]
	ColdFactor   float64   `toml:"cold_friction_factor" unit:"-" min:"1" max:"3"`                          // at 20 C coolant
	FuelDeg      int       `toml:"fuel_commit_deg" unit:"deg" min:"0" max:"582" step:"6"`                  // injection start
	SparkDeg     int       `toml:"spark_commit_deg" unit:"deg" min:"588" max:"690" step:"6"`               // dwell start of the most advanced spark
	MaxAdvance   float64   `toml:"max_advance_deg" unit:"deg" min:"0" max:"60"`                            // most advanced spark that the ignition accepts
	EtaRPM       []float64 `toml:"volumetric_rpm" unit:"rpm" len:"2-12" min:"100" max:"20000" rise:"true"` //
	Eta          []float64 `toml:"volumetric" unit:"-" len:"2-12" min:"0.2" max:"1.4"`                     // at manifold = exhaust pressure
}

// Combustion is the single-zone closed cycle. Sources: doc.go, part 3.
type Combustion struct {
	Burn3000Deg  float64 `toml:"burn_duration_deg" unit:"deg" min:"20" max:"120"` // at 3000 rpm, lambda 0.9, no residual
	BurnResidual float64 `toml:"burn_residual" unit:"-" min:"0" max:"5"`          // longer per residual fraction
	BurnLambda   float64 `toml:"burn_lambda" unit:"-" min:"0" max:"10"`           // longer per (lambda-0.9)^2
	BurnLate     float64 `toml:"burn_late" unit:"1/deg" min:"0" max:"0.1"`        // longer per degree of CA50 past 20 deg
	BurnNitrous  float64 `toml:"burn_nitrous" unit:"-" min:"0" max:"0.5"`         // shorter with oxidiser
	BurnEff      float64 `toml:"burn_efficiency" unit:"-" min:"0.5" max:"1"`
	WallCoef     float64 `toml:"wall_heat_factor" unit:"-" min:"0" max:"6"` // on Woschni's coefficient
	WallK        float64 `toml:"wall_k" unit:"K" min:"300" max:"700"`
	PolyComp     float64 `toml:"compression_exponent" unit:"-" min:"1.2" max:"1.4"`
	PolyExp      float64 `toml:"expansion_exponent" unit:"-" min:"1.2" max:"1.4"`
	PortHeatK    float64 `toml:"port_heating_k" unit:"K" min:"0" max:"80"`
	EvapK        float64 `toml:"evaporation_k" unit:"K" min:"0" max:"60"` // cooling by a stoichiometric fuel charge
	LambdaLean   float64 `toml:"misfire_lean" unit:"-" min:"1" max:"3"`
	LambdaRich   float64 `toml:"misfire_rich" unit:"-" min:"0.3" max:"1"`
	MaxResidual  float64 `toml:"misfire_residual" unit:"-" min:"0.1" max:"0.9"`
	ScatterDeg   float64 `toml:"scatter_deg" unit:"deg" min:"0" max:"10"`     // CA50 standard deviation at early timing
	ScatterPer   float64 `toml:"scatter_per_deg" unit:"-" min:"0" max:"1"`    // and its growth per degree later than 25 BTDC
	BaseCA50     float64 `toml:"base_ca50_deg" unit:"deg" min:"-10" max:"40"` // of the maker's timing map at 1 bar
	BaseCA50Bar  float64 `toml:"base_ca50_per_bar" unit:"deg/bar" min:"0" max:"40"`
}

// Intake is throttle, plenum and, with a turbo, the charge pipe.
type Intake struct {
	PlenumL    float64 `toml:"plenum_l" unit:"L" min:"0.3" max:"40"`
	PipeL      float64 `toml:"charge_pipe_l" unit:"L" min:"0" max:"60"` // turbo only
	ThrottleMM float64 `toml:"throttle_mm" unit:"mm" min:"20" max:"250"`
	ThrottleCd float64 `toml:"throttle_cd" unit:"-" min:"0.3" max:"1"`
	LeakMM2    float64 `toml:"idle_area_mm2" unit:"mm2" min:"0" max:"300"` // effective area with the plate shut
	WallWK     float64 `toml:"wall_wk" unit:"W/K" min:"0" max:"100"`
	WallK      float64 `toml:"wall_k" unit:"K" min:"250" max:"420"`
}

// Exhaust is the manifold, its wall, after-burning and the way out of an
// engine without a turbo.
type Exhaust struct {
	VolumeL    float64 `toml:"volume_l" unit:"L" min:"0.5" max:"40"`
	WallWK     float64 `toml:"wall_wk" unit:"W/K" min:"0" max:"300"`         // at 0.1 kg/s
	WallOutWK  float64 `toml:"wall_outside_wk" unit:"W/K" min:"0" max:"100"` //
	WallJK     float64 `toml:"wall_jk" unit:"J/K" min:"200" max:"60000"`
	WallStartK float64 `toml:"wall_start_k" unit:"K" min:"250" max:"1300"`
	OrificeM2  float64 `toml:"orifice_m2" unit:"m2" min:"0" max:"0.05"` // to ambient, no turbo
	PortDeg    float64 `toml:"port_release_deg" unit:"deg" min:"10" max:"300"`
	MixRate    float64 `toml:"afterburn_mix_rate" unit:"1/s" min:"0" max:"1000"`
	MixShare   float64 `toml:"afterburn_mix_share" unit:"-" min:"0" max:"1"` // of an unfired charge
	OxRate     float64 `toml:"afterburn_rate_873k" unit:"1/s" min:"0" max:"1000"`
	OxK        float64 `toml:"afterburn_activation_k" unit:"K" min:"5000" max:"40000"`
	OxEff      float64 `toml:"afterburn_efficiency" unit:"-" min:"0" max:"1"`
}

// Turbo is compressor, turbine, shaft, wastegate, intercooler and down-pipe.
type Turbo struct {
	Fitted        bool    `toml:"fitted"`
	InertiaKgM2   float64 `toml:"inertia_kgm2" unit:"kg m2" min:"1e-6" max:"0.02"`
	CompRadiusM   float64 `toml:"compressor_radius_m" unit:"m" min:"0.01" max:"0.2"`
	TurbRadiusM   float64 `toml:"turbine_radius_m" unit:"m" min:"0.01" max:"0.2"`
	CompHead      float64 `toml:"compressor_head" unit:"-" min:"0.5" max:"2"`        // Psi of doc.go, part 5
	CompFlow      float64 `toml:"compressor_flow" unit:"kg/m" min:"1e-5" max:"0.05"` // A_c at 1.204 kg/m3
	CompEta       float64 `toml:"compressor_efficiency" unit:"-" min:"0.3" max:"0.9"`
	Intercooler   float64 `toml:"intercooler" unit:"-" min:"0" max:"1"` // effectiveness
	TurbFlow      float64 `toml:"turbine_flow" unit:"kg K^0.5/(s Pa)" min:"1e-6" max:"1e-3"`
	TurbEta       float64 `toml:"turbine_efficiency" unit:"-" min:"0.3" max:"0.9"`
	TurbBSR       float64 `toml:"turbine_speed_ratio" unit:"-" min:"0.4" max:"0.9"` // of best efficiency
	MechEta       float64 `toml:"shaft_efficiency" unit:"-" min:"0.5" max:"1"`
	Bearing       float64 `toml:"bearing_nms" unit:"N m s" min:"0" max:"1e-3"`
	WastegateM2   float64 `toml:"wastegate_m2" unit:"m2" min:"0" max:"0.02"`
	WastegateKPa  float64 `toml:"wastegate_band_kpa" unit:"kPa" min:"1" max:"60"`
	WastegateS    float64 `toml:"wastegate_lag_s" unit:"s" min:"0.005" max:"1"`
	DownPipe      float64 `toml:"downpipe_kpa" unit:"kPa s2/(kg2 K)" min:"0" max:"20"`
	BoostLimitKPa float64 `toml:"boost_limit_kpa" unit:"kPa" min:"100" max:"600"` // absolute; in force when no target is given
}

// Fuel is the port-injection path.
type Fuel struct {
	Lambda       float64 `toml:"lambda" unit:"-" min:"0.6" max:"1.2"` // base mixture
	FilmShare    float64 `toml:"film_share" unit:"-" min:"0" max:"0.8"`
	FilmS        float64 `toml:"film_s" unit:"s" min:"0.02" max:"5"`
	InjectorGS   float64 `toml:"injector_g_s" unit:"g/s" min:"0.5" max:"200"` // one cylinder's injectors, open
	InjectorDead float64 `toml:"injector_dead_s" unit:"s" min:"0" max:"0.005"`
	InjectorErr  float64 `toml:"injector_error" unit:"-" min:"0" max:"0.2"` // standard deviation of one shot
}

// Nitrous is one bottle with up to four jets of dry or wet fuel supply.
type Nitrous struct {
	Fitted     bool      `toml:"fitted"`
	BottleKg   float64   `toml:"bottle_kg" unit:"kg" min:"0.05" max:"30"`
	ShellJK    float64   `toml:"shell_jk" unit:"J/K" min:"0" max:"1e5"`
	JetM2      []float64 `toml:"jet_m2" unit:"m2" len:"1-4" min:"1e-8" max:"1e-5"` // C_d A of each shot
	Flash      float64   `toml:"flash_factor" unit:"-" min:"0.2" max:"1"`
	OpenS      float64   `toml:"open_dead_s" unit:"s" min:"0" max:"0.1"`
	CloseS     float64   `toml:"close_dead_s" unit:"s" min:"0" max:"0.1"`
	LagS       float64   `toml:"valve_lag_s" unit:"s" min:"0.001" max:"0.1"`
	LineML     float64   `toml:"line_ml" unit:"mL" min:"0" max:"500"`      // between valve and jet
	PwmHz      float64   `toml:"pwm_hz" unit:"Hz" min:"2" max:"60"`        // carrier of a duty between 0 and 1
	ChillK     float64   `toml:"chill_k" unit:"K" min:"0" max:"400"`       // how much colder than the manifold it counts on entry
	FuelLambda float64   `toml:"fuel_lambda" unit:"-" min:"0.5" max:"1.2"` // mixture that the fuel side is sized for
	Wet        bool      `toml:"wet"`                                      // fuel through its own jet beside each nitrous jet
}

// Launch is what stands between engine and gearbox.
type Launch struct {
	Kind        string    `toml:"kind" values:"clutch,converter"`
	ClutchNm    float64   `toml:"clutch_nm" unit:"N m" min:"0" max:"10000"`        // capacity fully engaged; clutch only
	InertiaKgM2 float64   `toml:"inertia_kgm2" unit:"kg m2" min:"0.002" max:"2"`   // disc and input shaft, or turbine
	K0          float64   `toml:"stall_k" unit:"rad/s/sqrt(N m)" min:"0" max:"60"` // converter only
	SR          []float64 `toml:"speed_ratio" unit:"-" len:"0-16" min:"0" max:"1" rise:"true"`
	K           []float64 `toml:"k_factor" unit:"-" len:"0-16" min:"0.5" max:"50"` // K over K0 at each speed ratio
	TR          []float64 `toml:"torque_ratio" unit:"-" len:"0-16" min:"0" max:"4"`
	TransNm     float64   `toml:"transbrake_nm" unit:"N m" min:"0" max:"20000"` // 0: none fitted
	TransDeadS  float64   `toml:"transbrake_dead_s" unit:"s" min:"0" max:"0.2"`
	TransRampS  float64   `toml:"transbrake_ramp_s" unit:"s" min:"0.002" max:"0.5"`
	TransErrS   float64   `toml:"transbrake_scatter_s" unit:"s" min:"0" max:"0.05"` // standard deviation of the dead time
}

// Gearbox is ratios and shafts. Gear 1 is the first entry.
type Gearbox struct {
	Ratios      []float64 `toml:"ratios" unit:"-" len:"1-8" min:"0.3" max:"8"`
	Final       float64   `toml:"final" unit:"-" min:"1" max:"10"`
	Efficiency  float64   `toml:"efficiency" unit:"-" min:"0.5" max:"1"`
	ShiftS      float64   `toml:"shift_s" unit:"s" min:"0.01" max:"2"`
	Interrupter bool      `toml:"interrupter"` // a switch on the lever stops the ignition while an upshift lasts
	ShaftNmRad  float64   `toml:"shaft_nm_rad" unit:"N m/rad" min:"500" max:"2e5"`
	ShaftNms    float64   `toml:"shaft_nms" unit:"N m s/rad" min:"0" max:"5000"`
	LashRad     float64   `toml:"lash_rad" unit:"rad" min:"0" max:"0.2"` // at the wheel
}

// Tyre is the driven axle's pair.
type Tyre struct {
	Mu0       float64 `toml:"mu" unit:"-" min:"0.05" max:"5"`
	B         float64 `toml:"b" unit:"-" min:"1" max:"40"`
	C         float64 `toml:"c" unit:"-" min:"1" max:"2.5"`
	E         float64 `toml:"e" unit:"-" min:"-5" max:"1"`
	LoadExp   float64 `toml:"load_exponent" unit:"-" min:"-0.5" max:"0"`
	SpeedMS   float64 `toml:"sliding_speed_m_s" unit:"m/s" min:"5" max:"1e6"` // sliding speed at which grip halves
	RelaxM    float64 `toml:"relaxation_m" unit:"m" min:"0.02" max:"2"`
	RadiusM   float64 `toml:"radius_m" unit:"m" min:"0.1" max:"0.8"`
	Inertia   float64 `toml:"inertia_kgm2" unit:"kg m2" min:"0.1" max:"30"` // driven axle
	Rolling   float64 `toml:"rolling" unit:"-" min:"0" max:"0.1"`
	DampNsM   float64 `toml:"standstill_ns_m" unit:"N s/m" min:"0" max:"50000"` // damper below 1 m/s
	FootNm    float64 `toml:"foot_brake_driven_nm" unit:"N m" min:"0" max:"20000"`
	FootFreeN float64 `toml:"foot_brake_free_n" unit:"N" min:"0" max:"40000"` // brake force of the other axle, before its grip limit
}

// Body is mass, balance and drag.
type Body struct {
	MassKg     float64 `toml:"mass_kg" unit:"kg" min:"100" max:"6000"` // with driver
	Drive      string  `toml:"drive" values:"rear,front,all"`
	DrivenPart float64 `toml:"driven_share" unit:"-" min:"0.2" max:"1"` // static load share of the driven axle
	HeightM    float64 `toml:"cg_height_m" unit:"m" min:"0" max:"1.5"`
	BaseM      float64 `toml:"wheelbase_m" unit:"m" min:"1" max:"8"`
	CdA        float64 `toml:"drag_m2" unit:"m2" min:"0" max:"5"`
	RotKg      float64 `toml:"free_axle_kg" unit:"kg" min:"0" max:"100"` // rotating mass of the free axle as mass
	PitchHz    float64 `toml:"pitch_hz" unit:"Hz" min:"0.3" max:"10"`
	PitchZeta  float64 `toml:"pitch_damping" unit:"-" min:"0.05" max:"2"`
	Direct     float64 `toml:"direct_transfer" unit:"-" min:"0" max:"1"`
}

// Sensing is the crank wheel and the time constants of the sensors.
type Sensing struct {
	Teeth       int     `toml:"teeth" unit:"-" min:"6" max:"60" divides:"60"`
	Missing     int     `toml:"missing" unit:"-" min:"0" max:"3"`
	FirstDeg    float64 `toml:"first_tooth_deg" unit:"deg" min:"0" max:"360" step:"6"` // first tooth after the gap, after firing dead centre of the first in order
	CamDeg      float64 `toml:"cam_deg" unit:"deg" min:"0" max:"714" step:"6"`         // once per 720
	PitchDeg    float64 `toml:"pitch_error_deg" unit:"deg" min:"0" max:"0.5"`          // standard deviation, a fixed pattern
	RunoutDeg   float64 `toml:"runout_deg" unit:"deg" min:"0" max:"0.5"`
	MapS        float64 `toml:"map_lag_s" unit:"s" min:"0.0005" max:"0.2"`
	TpsS        float64 `toml:"tps_lag_s" unit:"s" min:"0.0005" max:"0.2"`
	CltS        float64 `toml:"coolant_lag_s" unit:"s" min:"0.1" max:"100"`
	IatS        float64 `toml:"intake_air_lag_s" unit:"s" min:"0.05" max:"30"`
	EgtS        float64 `toml:"exhaust_gas_lag_s" unit:"s" min:"0.05" max:"20"`
	LambdaS     float64 `toml:"lambda_lag_s" unit:"s" min:"0.01" max:"2"`
	LambdaDelay float64 `toml:"lambda_delay_s" unit:"s" min:"0" max:"0.12"`
	MapNoiseKPa float64 `toml:"map_noise_kpa" unit:"kPa" min:"0" max:"10"`
	WheelTeeth  int     `toml:"wheel_teeth" unit:"-" min:"4" max:"200"`
}

#include "drive.h"

#include <string.h>

static void set(drive *d, int channel, int32_t value)
{
	d->in.Channels[channel].Value = value;
	d->in.Channels[channel].Age = 0;
	d->in.Channels[channel].Good = 1;
}

static void put(drive *d, int sw, int on)
{
	d->in.Known |= 1u << sw;
	d->in.On = (d->in.On & ~(1u << sw)) | (uint32_t)on << sw;
}

static void calm(drive *d)
{
	int sw;

	set(d, EngineSpeed, d->speed);
	set(d, Throttle, 0);
	set(d, ManifoldPressure, 60 * Kilopascal);
	set(d, RoadSpeedMain, 0);
	set(d, RoadSpeedOther, 0);
	set(d, Gear, 1);
	set(d, CoolantTemperature, 850);
	set(d, IntakeTemperature, 300);
	set(d, ExhaustTemperature, 6000);
	set(d, FuelPressure, 4 * Bar);
	set(d, OilPressure, 5 * Bar);
	set(d, BottlePressure, 65 * Bar);
	set(d, BrakePressure, 0);
	set(d, SupplyVoltage, 13500);
	set(d, Lambda, 8500);
	set(d, BaseTiming, 28 * Degree);
	set(d, SurfaceTrim, 0);
	for (sw = 0; sw < NumSwitches; sw++)
		put(d, sw, 0);
	put(d, ClutchUp, 1);
}

static void hold(drive *d, int on)
{
	put(d, ClutchDown, on);
	put(d, ClutchUp, !on);
	put(d, TransBrake, on);
	put(d, FootBrake, on);
	set(d, BrakePressure, on ? 60 * Bar : 0);
}

static void act(drive *d)
{
	switch (d->tick % 6000) {
	case 0:
		calm(d);
		break;
	case 300:
		put(d, Arm, 1);
		break;
	case 500:
		hold(d, 1);
		set(d, Throttle, One);
		set(d, ManifoldPressure, 151 * Kilopascal);
		break;
	case 2000:
		hold(d, 0);
		break;
	case 3500:
		put(d, ShiftButton, 1);
		break;
	case 3600:
		put(d, ShiftButton, 0);
		set(d, Gear, 2);
		break;
	case 4800:
		set(d, Throttle, 0);
		set(d, ManifoldPressure, 60 * Kilopascal);
		break;
	}
}

void drive_begin(drive *d)
{
	memset(d, 0, sizeof *d);
	tick_reset(&d->state);
	d->speed = 1200 * RPM;
	calm(d);
}

void drive_prepare(drive *d)
{
	int32_t interval = 72000 / calibration.Engine.Cylinders, gain;

	d->in.Periods = 1;
	act(d);
	gain = d->in.Channels[Throttle].Value / 200 - 15 - d->out.Demand / 800;
	d->speed += gain;
	if (d->speed < 800 * RPM)
		d->speed = 800 * RPM;
	if (d->speed > 14000 * RPM)
		d->speed = 14000 * RPM;
	d->in.Channels[EngineSpeed].Value = d->speed;
	d->in.Channels[EngineSpeed].Good = 1;
	d->travel += d->speed * 6 / 100;
	d->due = (uint32_t)(d->travel / interval);
	d->travel -= (int32_t)d->due * interval;
	d->tick++;
}

void drive_commits(drive *d)
{
	for (; d->due > 0; d->due--)
		tick_committed(&d->state);
}

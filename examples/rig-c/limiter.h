/* A plain two-stage limiter, written as one would for a road-race car with a
   clutch and no added power: a launch ceiling while the clutch is down at
   standstill, a main ceiling always, both cuts of fuel and spark together. Put
   your own in its place. Numbers are those of an invented car. Speeds are in
   1/10 rpm, angles in 1/100 degree before top dead centre, demand in 1/55440. */

#ifndef LIMITER_H
#define LIMITER_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define LIMITER_CYLINDERS 12
#define LIMITER_FULL 55440

enum { LIMITER_LAUNCH, LIMITER_MAIN };
enum { LIMITER_IDLE, LIMITER_HELD, LIMITER_RELEASED, LIMITER_ENDED, LIMITER_ABORTED };

typedef struct {
	int32_t speed, throttle, road, base;
	uint16_t elapsed; /* ms since the tick before */
	uint8_t speed_good, throttle_good, road_good;
	uint8_t clutch_down, clutch_known;
} limiter_inputs;

typedef struct {
	/* decided by the last tick */
	int32_t ceiling, demand, timing, base;
	uint8_t sequence, active, stage, marks;
	uint32_t since_release, last_withheld; /* ms */

	uint16_t held_for, low_for, clear_for, launch_for, lift_for; /* ms */
	uint16_t lost_for;
	uint8_t near, main_cut, seen, cylinders;

	/* one memory for each of two cycles in a row, so that both commits of a
	   cycle get one decision */
	uint8_t cycle[LIMITER_CYLINDERS][2], known[LIMITER_CYLINDERS][2], cut[LIMITER_CYLINDERS][2];
	int32_t owed[LIMITER_CYLINDERS]; /* of a cut, per cylinder */
} limiter;

void limiter_reset(limiter *l, uint8_t cylinders, const uint8_t *order);

/* Runs one tick. */
void limiter_tick(limiter *l, const limiter_inputs *in);

/* Says whether a cycle of a cylinder (from 1) is to be withheld: fuel and spark
   alike, whichever asks first. */
uint8_t limiter_cuts(limiter *l, uint8_t cylinder, uint8_t cycle);

#ifdef __cplusplus
}
#endif

#endif

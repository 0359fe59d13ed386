/* The launch of examples/boards/work/inputs.go: idle, hold, release, run, lift. */

#ifndef DRIVE_H
#define DRIVE_H

#include "tick.h"

typedef struct {
	State state;
	Input in;
	Output out;
	int32_t speed, travel;
	uint32_t tick, due;
} drive;

void drive_begin(drive *d);
void drive_prepare(drive *d);
void drive_commits(drive *d);

#endif

/* Prints what every tick of the launch decides, for the test to compare. */

#include <stdio.h>

#include "drive.h"

int main(void)
{
	static drive d;
	uint32_t t;
	int i;

	drive_begin(&d);
	for (t = 0; t < 6000; t++) {
		const Output *o = &d.out;

		drive_prepare(&d);
		tick(&d.state, &calibration, &d.in, &d.out);
		printf("%u %u %u %u %u %u %u %d %d %d %d %d %d %d %d %d %u %u", o->Sequence, o->Marks, o->Speed, o->Active, o->Stage, o->CutStage,
		       o->Medium, o->Ceiling, o->Target, o->Demand, o->Base, o->Timing, o->Mixture, o->Boost, o->Trim, o->Slope, o->SinceRelease, o->Lost);
		for (i = 0; i < MaxStages; i++)
			printf(" %u %d", o->StageInhibits[i], o->StageCeiling[i]);
		printf("\n");
		drive_commits(&d);
	}
	return 0;
}

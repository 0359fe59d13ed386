/*
 * One dry shot by rules A1, A2, A3, A4 and A6, written from the rules: a second
 * opinion on controller/power.go. Times are those of promela_test.go, in ticks.
 * Every step that the verifier takes is printed, so that a test can compare the
 * steps of this model with those of the code.
 */
#define QUALIFY 2 /* standing interlocks hold this long */
#define TRIGGER 2 /* trigger interlocks hold this long */
#define REARM 2   /* closed at least this long */
#define LEAD 1    /* retard and fuel in force before the valve */
#define TAIL 2    /* ticks until the last charge has burnt */
#define LATCH 1   /* out of range for longer latches */
#define LONGEST 3 /* open time in all */

#define OFF 0
#define LOST 1
#define ON 2

#define CLOSED 0
#define LEADING 1
#define OPEN 2
#define DRAINING 3

#define GOOD 0
#define BAD 1   /* outside its window */
#define RANGE 2 /* outside its electrical range */

/* What the shot remembers. */
byte offSeen, fault, steady, outFor, phase, timer, trig, rearm, total;
/* What the tick sees. */
byte arm, standing, trigger;
/* State before the step, for the print only. */
hidden byte o_offSeen, o_fault, o_steady, o_outFor, o_phase, o_timer, o_trig, o_rearm, o_total;
/* What a watcher counts who sees inputs and the valve alone. */
byte w_ok, w_trig, w_shut, w_lead, w_off;
bit armed, barred, closing, opened;

#define UP(x, limit) x = ((x) < (limit) -> (x) + 1 : (limit))

inline remember() {
	o_offSeen = offSeen; o_fault = fault; o_steady = steady; o_outFor = outFor;
	o_phase = phase; o_timer = timer; o_trig = trig; o_rearm = rearm; o_total = total
}

inline latch() {
	if
	:: arm == OFF -> fault = 0
	:: else
	fi;
	if
	:: standing == RANGE -> UP(outFor, LATCH + 1)
	:: else -> outFor = 0
	fi;
	if
	:: outFor > LATCH && arm != OFF -> fault = 1
	:: else
	fi
}

inline arming() {
	if
	:: arm == OFF -> offSeen = 1
	:: arm == LOST -> offSeen = 0
	:: else
	fi;
	if
	:: fault && arm != OFF -> offSeen = 0
	:: else
	fi;
	armed = (arm == ON && offSeen && !fault);
	if
	:: armed && standing == GOOD -> UP(steady, QUALIFY)
	:: else -> steady = 0
	fi
}

inline totals() {
	if
	:: phase == OPEN -> UP(total, LONGEST)
	:: phase != OPEN && arm == OFF -> total = 0
	:: else
	fi
}

inline qualify() {
	if
	:: trigger == GOOD -> UP(trig, TRIGGER)
	:: else -> trig = 0
	fi;
	if
	:: phase == CLOSED || phase == DRAINING -> UP(rearm, REARM)
	:: else
	fi;
	closing = (!armed || standing != GOOD || trigger != GOOD || total >= LONGEST);
	barred = (closing || steady < QUALIFY || trig < TRIGGER ||
		((phase == CLOSED || phase == DRAINING) && rearm < REARM) || phase == DRAINING)
}

inline gate() {
	if
	:: phase == CLOSED && !barred -> phase = LEADING; timer = 0
	:: phase == CLOSED && barred
	:: phase == LEADING && barred -> phase = CLOSED; timer = 0; rearm = 0
	:: phase == LEADING && !barred ->
		UP(timer, LEAD);
		if
		:: timer >= LEAD -> phase = OPEN; timer = 0
		:: else
		fi
	:: phase == OPEN && closing -> phase = DRAINING; timer = 0; rearm = 0
	:: phase == OPEN && !closing
	:: phase == DRAINING ->
		UP(timer, TAIL);
		if
		:: timer >= TAIL -> phase = CLOSED; timer = 0
		:: else
		fi
	fi
}

inline watch() {
	w_off = ((w_off || arm == OFF) && arm != LOST);
	if
	:: fault && arm != OFF -> w_off = 0
	:: else
	fi;
	if
	:: standing == GOOD && arm == ON && w_off && !fault -> UP(w_ok, QUALIFY)
	:: else -> w_ok = 0
	fi;
	if
	:: trigger == GOOD -> UP(w_trig, TRIGGER)
	:: else -> w_trig = 0
	fi;
	opened = (phase == OPEN && o_phase != OPEN);
	if
	:: o_phase == OPEN && phase != OPEN -> w_shut = 0
	:: phase != OPEN -> UP(w_shut, REARM)
	:: else
	fi;
	assert(phase != OPEN || (arm == ON && w_off && !fault));           /* A1 */
	assert(!opened || (w_ok >= QUALIFY && w_trig >= TRIGGER));         /* A2 */
	assert(phase != OPEN || (standing == GOOD && trigger == GOOD));    /* A3 */
	assert(!opened || w_shut >= REARM);                                /* A3 */
	assert(!opened || w_lead >= LEAD);                                 /* A4 */
	assert(phase != OPEN || total < LONGEST);                          /* A6 */
	if
	:: phase != CLOSED -> UP(w_lead, LEAD)
	:: else -> w_lead = 0
	fi
}

active proctype shot() {
	do
	:: atomic {
		if
		:: arm = OFF
		:: arm = LOST
		:: arm = ON
		fi;
		if
		:: standing = GOOD
		:: standing = BAD
		:: standing = RANGE
		fi;
		if
		:: trigger = GOOD
		:: trigger = BAD
		fi;
		d_step {
			remember();
			latch(); arming(); totals(); qualify(); gate();
			watch();
			c_code {
				printf("step %d %d %d %d %d %d %d %d %d / %d %d %d / %d %d %d %d %d %d %d %d %d\n",
					o_offSeen, o_fault, o_steady, o_outFor, o_phase, o_timer, o_trig, o_rearm, o_total,
					now.arm, now.standing, now.trigger,
					now.offSeen, now.fault, now.steady, now.outFor, now.phase, now.timer, now.trig, now.rearm, now.total);
			};
			/* A step starts from what is remembered alone. */
			arm = 0; standing = 0; trigger = 0; armed = 0; barred = 0; closing = 0; opened = 0
		}
	}
	od
}

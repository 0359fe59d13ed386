/* The rig's side of the wire between bench and rig, version 1, as
   harness/link/wire/WIRE.md describes it. Portable C99 that also compiles as
   C++: no heap, no floats, no clock and no input or output of its own.

       bytes from the bench -> rig_receive -> your tick and commits -> your write
       your main loop       -> rig_poll, at least every 10 ms

   Two clocks: the controller's time moves only when the bench says so (tick);
   the watchdog runs on the board's own clock (micros) and drops the outputs
   within 100 ms of silence. A bench commands hardware: coils, injectors and
   solenoids disconnected or on dummy loads, the bottle closed and vented. It is
   certified for nothing. */

#ifndef RIG_H
#define RIG_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Sizes. Make them smaller for a small chip; the bench is told and obeys. */
#ifndef RIG_FRAME
#define RIG_FRAME 512 /* longest frame taken, stuffed, with its 00: 256 to 65535 */
#endif
#ifndef RIG_EVENTS
#define RIG_EVENTS 32 /* most commits in a step: 1 to 64 */
#endif
#ifndef RIG_ITEMS
#define RIG_ITEMS 4 /* most ticks in a step */
#endif
#ifndef RIG_WINDOW
#define RIG_WINDOW 1 /* answers kept for repetition: 1, 2, 4 or 8 */
#endif
#ifndef RIG_BUFFER
#define RIG_BUFFER RIG_FRAME /* bytes that may wait to be received: the credit */
#endif
#ifndef RIG_OUTPUTS
#define RIG_OUTPUTS 1 /* 1: ticks report outputs; 0: commits only, and smaller */
#endif

#define RIG_CHANNELS 21
#define RIG_SWITCHES 15
#define RIG_CYLINDERS 12
#define RIG_FIELDS 61
#define RIG_TEXT 24

/* Channels, with their units. */
enum {
	RIG_SPEED,      /* engine speed, 1/10 rpm */
	RIG_THROTTLE,   /* 1/10000 */
	RIG_MANIFOLD,   /* Pa, absolute */
	RIG_ROAD,       /* mm/s */
	RIG_ROAD_OTHER, /* mm/s */
	RIG_GEAR,
	RIG_COOLANT,     /* 1/10 degC */
	RIG_INTAKE,      /* 1/10 degC */
	RIG_EXHAUST,     /* 1/10 degC */
	RIG_FUEL,        /* pressure, Pa */
	RIG_OIL,         /* pressure, Pa */
	RIG_BOTTLE,      /* pressure, Pa */
	RIG_BRAKE,       /* pressure, Pa */
	RIG_SUPPLY,      /* mV */
	RIG_LAMBDA,      /* 1/10000 */
	RIG_BASE_TIMING, /* 1/100 degree before top dead centre */
	RIG_TRIM         /* position; 17 to 20 are free */
};

/* Switches, as bits of rig_input.on and rig_input.known. */
enum {
	RIG_CLUTCH_DOWN,
	RIG_CLUTCH_UP,
	RIG_FOOT_BRAKE,
	RIG_TRANS_BRAKE,
	RIG_BURNOUT,
	RIG_SHIFT,
	RIG_ARM /* 7 to 10 are free; 11 to 14: a shot is seen to flow */
};

/* Outputs that a tick may report, as indices of its field array. A plain
   limiter fills in what it has and leaves the rest 0. */
enum {
	RIG_OUT_SLOPE, /* of engine speed, rpm per second */
	RIG_OUT_BASE,  /* base timing, 1/100 degree before top dead centre */
	RIG_OUT_TIMING,
	RIG_OUT_DEMAND,  /* share of firing events to be cut, 1/55440 */
	RIG_OUT_CEILING, /* lowest one in force, 1/10 rpm */
	RIG_OUT_SINCE_RELEASE,
	RIG_OUT_TARGET,
	RIG_OUT_MIXTURE, /* fuel multiplier, 1/10000 */
	RIG_OUT_LAST_WITHHELD,
	RIG_OUT_SEQUENCE, /* 0 idle, 1 held, 2 released, 3 ended, 4 aborted */
	RIG_OUT_MARKS,    /* bits: 0 earned, 1 released, 2 bump, 3 aborted, 4 ended */
	RIG_OUT_SPEED_STATE, /* 0 unseen, 1 cranking, 2 good, 3 standing, 4 withheld */
	RIG_OUT_CUT_STAGE,
	RIG_OUT_ACTIVE, /* bit n: stage n */
	RIG_OUT_MEDIUM, /* bits: 0 fuel, 1 spark */
	RIG_OUT_STAGE,
	RIG_OUT_BOOST,
	RIG_OUT_TRIM,
	RIG_OUT_FAULTS,
	RIG_OUT_LOST, /* channels that are invalid */
	RIG_OUT_MASTER,
	RIG_OUT_STAGES = 21, /* + 2k inhibits, + 2k + 1 ceiling of stage k */
	RIG_OUT_SHOTS = 37   /* + 6k phase, duty, fuel duty, retard, enrichment, inhibits of shot k */
};

/* Reasons of a decision. */
enum {
	RIG_WHY_GIVEN = 1,
	RIG_WHY_SPARED = 2,
	RIG_WHY_CUT = 3,
	RIG_WHY_PAIRED = 4,
	RIG_WHY_SPEED_UNKNOWN = 5
};

/* Refusals of a session. 0: it fits. */
enum {
	RIG_FITS,
	RIG_REFUSE_VERSION,
	RIG_REFUSE_MODE,
	RIG_REFUSE_PERIOD,
	RIG_REFUSE_CYLINDERS,
	RIG_REFUSE_ORDER,
	RIG_REFUSE_CALIBRATION,
	RIG_REFUSE_TOKEN,
	RIG_REFUSE_OUTPUTS,
	RIG_REFUSE_OTHER
};

typedef struct {
	int32_t value;
	uint16_t age; /* ticks since it was measured */
	uint8_t good; /* the sensor's own diagnosis finds no fault */
} rig_sample;

typedef struct {
	uint32_t tick;
	uint16_t periods; /* since the tick before; 1 normally */
	uint16_t on;      /* switches that read on */
	uint16_t known;   /* switches whose state can be trusted */
	const rig_sample *channels;
} rig_input;

typedef struct {
	uint8_t cylinder; /* the maker's number, from 1 */
	uint8_t cycle;    /* the same for both commits of one engine cycle */
	uint8_t spark;    /* 0: fuel */
	int32_t angle;    /* 1/100 degree after the firing dead centre of the first cylinder */
	/* The answer: */
	uint8_t give; /* fuel given, or spark fired */
	uint8_t unburnt;
	uint8_t drop;
	uint8_t why;
	int32_t value; /* of a spark its timing, of an injection its multiplier */
} rig_event;

typedef struct {
	uint32_t nonce, token;
	uint8_t version, mode; /* mode 0 lockstep, 1 paced */
	uint32_t period;       /* us */
	uint32_t calibration;
	uint8_t cylinders;
	uint8_t order[RIG_CYLINDERS];
	uint16_t intervals[RIG_CYLINDERS];
} rig_start;

/* What you supply. user is passed through. */
typedef struct {
	void *user;
	/* Resets the controller for a session. Returns RIG_FITS or a refusal. */
	uint8_t (*begin)(void *user, const rig_start *start);
	/* Runs one tick. fields has RIG_FIELDS zeros to fill in; null if the rig
	   does not report outputs. */
	void (*tick)(void *user, const rig_input *in, int32_t *fields);
	/* Decides one commit. The same commit asked again gets the same answer. */
	void (*commit)(void *user, rig_event *event);
	/* Drops all outputs at once. The next tick or commit takes them back. */
	void (*off)(void *user);
	/* The board's own clock in microseconds, wrapping. */
	uint32_t (*micros)(void *user);
	/* Sends bytes, waiting until they are on their way. */
	void (*write)(void *user, const uint8_t *bytes, uint16_t n);
} rig_app;

/* What the rig says of itself. */
typedef struct {
	const char *name, *version; /* at most RIG_TEXT characters each */
	uint32_t channels;          /* set taken */
	uint16_t switches;          /* set taken */
	uint8_t cylinders;          /* most */
	uint32_t shortest_period;   /* us */
	uint32_t clock;             /* Hz, of the clock behind micros */
} rig_facts;

/* A step's memory: what its differences refer to. */
typedef struct {
	uint32_t tick, aging;
	uint16_t on, known, periods;
	rig_sample samples[RIG_CHANNELS];
	int32_t angles[RIG_CYLINDERS][2];
	uint8_t cycles[RIG_CYLINDERS][2];
} rig_memory;

#define RIG_ANSWER (10 + RIG_ITEMS * (RIG_OUTPUTS ? 9 + 5 * RIG_FIELDS : 0) + 6 * RIG_EVENTS)

/* One rig. Make it a static variable; the fields are its own business. */
typedef struct {
	const rig_app *app;
	const rig_facts *facts;

	uint32_t token, nonce, ended, last_good, last_hello;
	uint16_t expected;
	uint8_t greeted, dropped, was_silent, answered;

	uint16_t in_n;
	uint8_t in_left, in_code, in_bad;

	rig_memory memory, check;
#if RIG_OUTPUTS
	int32_t out[RIG_FIELDS], last[RIG_FIELDS];
#endif
	int32_t timing, mixture;

	uint16_t kept_n[RIG_WINDOW];
	uint8_t small[112]; /* hello and other short messages */
	uint8_t in[RIG_FRAME];  /* a frame as it comes in */
	uint8_t kept[RIG_WINDOW][RIG_ANSWER]; /* the last answers, for repetition */
} rig;

/* Sets a rig up. token should differ after every reset, if the board has
   anything to make it from. */
void rig_init(rig *r, const rig_app *app, const rig_facts *facts, uint32_t token);

/* Takes one byte from the bench. */
void rig_receive(rig *r, uint8_t byte);

/* Does what time asks for: a hello while idle, outputs off after silence. Call it
   at least every 10 ms. */
void rig_poll(rig *r);

/* Microseconds since the last whole message of a session, by the board's own
   clock. */
uint32_t rig_silence(const rig *r);

/* CRC-32C (reflected polynomial 1EDC6F41); crc continues a sum, 0 starts one. */
uint32_t rig_crc32c(uint32_t crc, const uint8_t *bytes, uint16_t n);

#ifdef __cplusplus
}
#endif

#endif

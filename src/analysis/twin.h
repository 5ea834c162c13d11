/* A gadget with the same times: parameters of link, card and firmware that give what was measured, and which of them the
 * figures could not tell. Where several would do, the simplest is taken and named as not known. */
#ifndef ANALYSIS_TWIN_H
#define ANALYSIS_TWIN_H

#include <stdbool.h>
#include <stdint.h>

#include "analysis/culprit.h"
#include "analysis/growth.h"

/* What its bus showed of requests of one direction, as lines over their size; see analysis/phase_parts.h. */
struct twin_phases {
	double host_s, command_s; /* between requests, and until a command is taken */
	double data_s, data_slope; /* the data phase: s, s per byte */
	double status_s, status_slope; /* from the data to the status */
	double status_last_slope; /* the same among the largest sizes */
};

/* What is known of one direction; growth NULL: it was not measured. */
struct twin_side {
	const struct growth *growth;
	const struct culprits *culprits;
	double card; /* B/s, measured alone; 0: not given */
	double smallest_bytes, smallest_s; /* the smallest request measured, and its time */
	bool buffered; /* writes: acknowledged before the card has them, up to so many bytes: */
	double behind_bytes;
	bool may_buffer; /* writes: there may be such a buffer that nothing showed */
	bool phases_seen; /* then: */
	struct twin_phases phases;
};

struct twin_input {
	struct twin_side side[2]; /* read, write */
	double link; /* B/s, measured; 0: not given */
	double link_ceiling; /* B/s; 0: no such bound known */
	double frame_s; /* requests wait for frames of the bus; 0: they don't */
	bool frames_open; /* then: as far as is known */
	double block_bytes;
	bool single_blocks; /* take the card for one without program units, whatever the shape */
	bool odd_chunk; /* take pieces for as large as they seem, not for a power of two */
};

enum twin_doubt {
	TWIN_LINK, /* the link's rate */
	TWIN_READ_CARD,
	TWIN_WRITE_CARD,
	TWIN_TRANSFER, /* in turn or overlapped */
	TWIN_SECTOR, /* whether work per sector comes from single-sector commands */
	TWIN_REQUEST, /* whether a fixed cost is the firmware's, the card's or the host's */
	TWIN_READ_SHAPE, /* times follow no shape that a model has */
	TWIN_WRITE_SHAPE,
	TWIN_READS, /* not measured */
	TWIN_WRITES,
	TWIN_BUFFER, /* its size */
	TWIN_UNIT, /* whether the card programs units larger than those that were looked for */
	TWIN_FRAMES, /* whether requests wait for frames of the bus */
	TWIN_GAP, /* the host's pause, which several requests in flight hide; for the caller to set, like the next */
	TWIN_ORDER, /* requests in another order take other times, which a model has no lines for */
	TWIN_DOUBTS
};

struct twin_card {
	double rate; /* B/s; infinite: it takes no time */
	double command_s, sector_s; /* of each command, of each block */
	double unit_bytes; /* 0: programs single blocks */
};

struct twin {
	double link; /* B/s; infinite: it takes no time */
	bool frames; /* the link's rate follows from them */
	bool overlapped;
	double chunk_bytes; /* of overlapped transfers; 0: single blocks */
	bool sectors; /* one command to the card for each block */
	double request_s; /* of each request: of the firmware */
	/* Where the bus showed them, else they are among request_s: */
	double host_s, command_s;
	/* The bus showed writes worked on after their data, and so the link; or while they came. */
	bool stores_after, link_seen, stores_meanwhile;
	bool phased; /* the phases say what takes turns with what, and whose the fixed costs are */
	struct twin_card card[2];
	bool doubts[TWIN_DOUBTS];
};

void twin_make(struct twin *t, const struct twin_input *in);

/* Seconds of a request of so many bytes that is not split, as a gadget of blkassay-model(5) with these lines takes them in the
 * long run. In twin_time.c. */
double twin_seconds(const struct twin *t, const struct twin_input *in, bool write, double bytes);

#endif

/* What can hold a gadget back, and the code of each in results. */
#ifndef ANALYSIS_CAUSE_H
#define ANALYSIS_CAUSE_H

enum cause {
	CAUSE_LINK, /* the slower stage, and nothing but it */
	CAUSE_CARD,
	CAUSE_IN_TURN, /* link and card wait for one another */
	CAUSE_REQUEST_COST, /* work of gadget or card for each request */
	CAUSE_SECTOR_COST, /* work for each sector, or for each byte, beyond link and card */
	CAUSE_HOST_GAP, /* the host, between two requests */
	CAUSE_FRAMES, /* command, data and status wait for a frame of the bus each */
	CAUSE_PROGRAM_UNIT, /* work in whole units: the card programs more than it was sent, or the firmware handles buffers */
	CAUSE_STALLS,
	CAUSE_BACKLOG, /* requests wait for writes that were acknowledged earlier */
	CAUSE_UNKNOWN,
	CAUSE_COUNT
};

const char *cause_code(enum cause c); /* "link", ..., "unknown" */

#endif

/* Codes of causes. */
#include "analysis/cause.h"

const char *cause_code(enum cause c)
{
	static const char *const codes[CAUSE_COUNT] = {
		[CAUSE_LINK] = "link",
		[CAUSE_CARD] = "card",
		[CAUSE_IN_TURN] = "in-turn",
		[CAUSE_REQUEST_COST] = "request-cost",
		[CAUSE_SECTOR_COST] = "sector-cost",
		[CAUSE_HOST_GAP] = "host-gap",
		[CAUSE_FRAMES] = "frames",
		[CAUSE_PROGRAM_UNIT] = "program-unit",
		[CAUSE_STALLS] = "stalls",
		[CAUSE_BACKLOG] = "backlog",
		[CAUSE_UNKNOWN] = "unknown",
	};

	return codes[c];
}

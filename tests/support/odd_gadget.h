/* A gadget on a virtual clock that buffers writes in ways the models of blkassay-model(5) have no words for, and what it
 * stores in the long run, by its own account. It keeps no data: reads give zeroes. */
#ifndef SUPPORT_ODD_GADGET_H
#define SUPPORT_ODD_GADGET_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

struct medium;

enum odd_drain {
	ODD_AT_ONCE,
	ODD_AFTER_IDLE, /* no command for idle_s */
	ODD_ON_FLUSH,
	ODD_HIGH_WATER, /* from three quarters full down to one quarter, and after idle_s */
	ODD_TWO_SPEEDS, /* at once, but at `slow` of the card's rate until idle_s after a command */
};
enum odd_full { ODD_ONE, ODD_HALF, ODD_ALL }; /* what a full buffer stores before it takes more */
/* The second hold up what waits; the third come from a cache, and neither wait nor hold up. */
enum odd_reads { ODD_READS_WAIT, ODD_READS_PASS, ODD_READS_CACHED };
enum odd_sync {
	ODD_TRUE,
	ODD_LIES,
	ODD_LIES_LATE,
	ODD_LEAVES, /* leaves_bytes */
	ODD_REFUSED,
	ODD_HALVES, /* stores half of what waits */
};

/* Which places the card stores at place_slow of its rate. */
enum odd_places {
	ODD_ALIKE, /* none */
	ODD_STRIPES, /* every other stretch of place_bytes */
	ODD_START, /* the first place_bytes */
	ODD_SLOPE, /* the farther in, the more: the very last */
	ODD_FRESH, /* those not written before, in pieces of 4 KiB */
	ODD_AGAIN, /* the others */
	ODD_ERASES, /* none; who goes on to another stretch of place_bytes has to wait for place_s */
};

struct odd_spec {
	double link_bps, link_s; /* of each command */
	double ack_s; /* from the last byte to the answer */
	double card_read_bps, card_bps, command_s, block_s;
	uint64_t behind_bytes; /* 0: no buffer */
	enum odd_drain drain;
	double idle_s, slow;
	enum odd_full full;
	enum odd_reads reads;
	enum odd_sync sync;
	double late_s; /* of ODD_LIES_LATE */
	uint64_t leaves_bytes;
	bool write_back; /* as the kernel sees it */
	uint64_t stall_every_bytes; /* of the card; 0: never */
	double stall_s;
	unsigned tail_in; /* one command in so many takes tail_s more of the card; 0: none */
	double tail_s;
	/* from then on at `tired` of its rate, until it had rest_s; 0: never */
	uint64_t tires_after_bytes;
	double tired, rest_s;
	double asleep_s,
		wake_s; /* left alone for that long, its next command takes so much longer; 0: it never sleeps */
	enum odd_places places;
	uint64_t place_bytes;
	double place_slow; /* of the card's rate in these places; above 1: quicker there */
	double place_s;
	double jitter; /* relative standard deviation, a command */
	uint64_t seed;
};

enum { ODD_BLOCK = 512 };

/* One drawn at random; and one without moods whose rate depends on the place. Stores by itself, without being flushed, read or left alone? */
void odd_draw(struct odd_spec *s, uint64_t seed);
void odd_draw_places(struct odd_spec *s, uint64_t seed, uint64_t region_bytes);
bool odd_by_itself(const struct odd_spec *s);
void odd_print(FILE *out, const struct odd_spec *s);

struct medium *odd_new(const struct odd_spec *s); /* 64 MiB; NULL: no memory */

/* B/s stored in a long run of writes of that size, one behind the other. */
double odd_stored_rate(const struct odd_spec *s, uint64_t request_bytes);
/* The same over a region from 0, again and again, in either order; and over one stretch of it alone, which was written before. */
double odd_stored_rate_in(
	const struct odd_spec *s, uint64_t request_bytes, uint64_t region_bytes, bool random);
double odd_stored_rate_at(
	const struct odd_spec *s, uint64_t request_bytes, uint64_t start, uint64_t bytes);

#endif

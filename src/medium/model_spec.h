/* A gadget model as text: one `key = value` a line under `section:` headings; see blkassay-model(5).
 * Parsing fills a plain struct and checks that what was asked for fits together. */
#ifndef MEDIUM_MODEL_SPEC_H
#define MEDIUM_MODEL_SPEC_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;

enum model_speed { MODEL_SPEED_NONE, MODEL_SPEED_FULL, MODEL_SPEED_HIGH };
enum model_unit { MODEL_UNIT_SECTOR, MODEL_UNIT_REQUEST };
enum model_transfer { MODEL_STORE_AND_FORWARD, MODEL_OVERLAPPED };
enum model_read_policy { MODEL_READ_DRAINS_FIRST, MODEL_READ_FROM_BUFFER };
enum model_drain {
	MODEL_DRAIN_AT_ONCE,
	MODEL_DRAIN_AFTER_IDLE,
	MODEL_DRAIN_ON_FLUSH,
	MODEL_DRAIN_BEFORE_NEXT
};
enum model_full { MODEL_FULL_BLOCK, MODEL_FULL_ALL };
enum model_report { MODEL_REPORT_DEFERRED, MODEL_REPORT_FLUSH, MODEL_REPORT_NEVER };
enum model_beyond {
	MODEL_BEYOND_WRAPS,
	MODEL_BEYOND_DROPS,
	MODEL_BEYOND_BLOCK,
	MODEL_BEYOND_SLOT,
	MODEL_BEYOND_HALF
};
enum model_slip { MODEL_SLIP_LATE, MODEL_SLIP_EARLY };
/* What tells the host of another card: unit attention 28/00; the host's own poll, which took that away and moved the disk
 * sequence; nothing but the 29/00 of a reset that came after it. */
enum model_swap_told { MODEL_SWAP_ATTENTION, MODEL_SWAP_SEQUENCE, MODEL_SWAP_RESET };
enum model_level { MODEL_LEVEL_LOW, MODEL_LEVEL_HIGH };
enum model_unknown { MODEL_UNKNOWN_REFUSED, MODEL_UNKNOWN_SILENCE, MODEL_UNKNOWN_STALL };
enum model_short { MODEL_SHORT_STALLED, MODEL_SHORT_ENDED, MODEL_SHORT_LOST };
enum model_mode_answer { MODEL_MODE_RIGHT, MODEL_MODE_LONG, MODEL_MODE_SHORT };

struct model_range {
	uint64_t start, bytes;
};

/* The longest name is what INQUIRY has room for: SPC-4, standard INQUIRY data. */
struct model_device {
	char name[64];
	char vendor[9], product[17], revision[5], serial[33];
	uint64_t capacity_bytes, block_bytes;
	uint64_t fill; /* every byte of a block never written */
	uint64_t seed; /* of jitter and of where a torn sector breaks */
	double jitter; /* relative standard deviation of each stage's time */
	char not_known[160]; /* what it was made without knowing; "": nothing is said of that */
};

struct model_link {
	int speed; /* enum model_speed */
	int frames; /* three phases, each from the start of a frame; else rate below */
	double rate; /* B/s */
	double request_cost_ns, host_gap_ns;
	uint64_t request_limit_bytes;
};

struct model_card {
	double read_rate, write_rate; /* B/s */
	double read_command_ns, write_command_ns;
	double read_sector_ns, write_sector_ns;
	uint64_t write_unit_bytes; /* what the card programs at once; 0: a block */
	uint64_t stall_every_bytes; /* of written data; 0: never */
	double stall_ns;
};

struct model_firmware {
	int unit; /* enum model_unit */
	int transfer; /* enum model_transfer */
	uint64_t chunk_bytes; /* of overlapped transfers; 0: a block */
	double request_cost_ns;
	uint64_t write_behind_bytes; /* 0: a write returns when it is on the card */
	int reads; /* enum model_read_policy, while writes are pending */
	int drain; /* enum model_drain: what makes the card take what waits */
	double idle_ns; /* without a command, until it drains after idling */
	int when_full; /* enum model_full: what a full buffer stores before it takes more */
};

struct model_claims {
	int caching_page, write_cache, fua, write_protected, removable, synchronize_cache;
};

/* "1 in N" faults hold N: every N-th such write; 0 is never. */
struct model_faults {
	uint64_t lose_write; /* acknowledged, never stored */
	uint64_t lose_flushed; /* readable until power is cut */
	int ignore_flush, ignore_fua, stale_reads, reorder_overlaps, torn_sectors,
		past_end_accepted, eject_without_drain;
	uint64_t flush_leaves_bytes; /* a flush returns while so much still waits */
	struct model_range bad_range; /* writes here fail */
	int bad_report; /* enum model_report: how a failed background write is told */
	uint64_t real_capacity_bytes; /* 0: as claimed */
	int beyond; /* enum model_beyond */
	uint64_t slip_bytes, slip_write;
	int slip_direction; /* enum model_slip */
	uint64_t flip_every_bytes; /* of written data: one bit */
	uint64_t stuck_bit; /* 1..8 for data lines 0..7; 0: none */
	int stuck_level; /* enum model_level */
	uint64_t drop_last_sector, off_by_one;
	struct model_range unreadable; /* reads here fail */
	struct model_range twice; /* what is written here lands as many bytes before, too */
	/* of the protocol */
	int unknown_command; /* enum model_unknown: what a command it does not know gets */
	int short_answer; /* enum model_short: how data ends that is less than the host wants */
	uint64_t wrong_tag, wrong_residue; /* of reads and writes */
	int mode_sense; /* enum model_mode_answer */
	int vital_confused; /* every vital product data page is the standard INQUIRY data */
	int vital_unanswered; /* nothing comes where one is asked for, nor after it before a reset */
	int sense_stays; /* asking for it does not clear it */
	int prevent_accepted; /* with a removable medium */
	int stays_after_eject;
	int ignore_reset; /* Bulk-Only Mass Storage Reset */
};

/* From outside, just before a command of this number, counted from 1; 0: never. */
struct model_events {
	uint64_t swap_at; /* another card of the same size, blank */
	int swap_told; /* enum model_swap_told */
	uint64_t unplug_at; /* for good */
	uint64_t reset_at; /* of the device: 29/00 */
};

struct model_spec {
	struct model_device device;
	struct model_link link;
	struct model_card card;
	struct model_firmware firmware;
	struct model_claims claims;
	struct model_faults faults;
	struct model_events events;
};

enum {
	MODEL_TEXT_MAX = 64 * 1024, /* a longer file is refused */
	MODEL_WRITE_BEHIND_MAX = 8 * 1024 * 1024,
	MODEL_REQUEST_MAX = 1024 * 1024,
};

/* text need not end in NUL. `name` stands in error messages. 0, or -1 with *err naming line, what and what was
 * expected. */
int model_spec_parse(
	struct model_spec *s, const char *text, size_t length, const char *name, struct error *err);
int model_spec_load(struct model_spec *s, const char *path, struct error *err);

/* The documented keys, for the check against the manual: "section" and "key", or false past the last one. */
bool model_spec_key(size_t index, const char **section, const char **key);

#endif

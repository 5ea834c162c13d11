/* A value with its unit: a number in its base unit, a word, or nothing that could be shown. Each unit has one form for
 * people (text, page) and one for programs (CSV, JSON); no view formats anything itself. */
#ifndef FINDINGS_VALUE_H
#define FINDINGS_VALUE_H

#include <stdbool.h>
#include <stdint.h>

struct rate_summary;
struct text;

enum unit {
	UNIT_COUNT, /* "4096" */
	UNIT_BYTES, /* sizes of requests and blocks, binary: "4 KiB" */
	UNIT_BYTES_MEAN, /* of requests, seldom whole: "83.3 KiB" */
	UNIT_BYTES_DECIMAL, /* capacities and amounts: "2.13 MB" */
	UNIT_BYTES_PER_SECOND, /* "640 kB/s" */
	UNIT_SECONDS, /* "8.53 ms" */
	UNIT_NANOSECONDS, /* seconds as well, kept and told to programs exactly */
	UNIT_SHARE, /* 1 is all of it; measured: "97 %", "0.8 %" */
	UNIT_SHARE_COUNTED, /* the same, of counted things: "45.3 %" */
	UNIT_NUMBER, /* any other, three digits: "1.18" */
	UNIT_CHANGE, /* for people alone: a ratio as "+3.25 %" */
	UNIT_CHANGE_RANGE, /* for people alone: "+2.9..+3.6", in percent */
	UNIT_RATE_RANGE, /* for people alone: "1.17..1.19", in the unit of the rate beside it */
	UNIT_FLAG, /* yes or no */
	UNIT_WORD, /* ours: "sequential" */
	UNIT_CODE, /* a word of ours with hyphens, which people see as blanks: "not-shown" */
	UNIT_WORDS, /* several of ours with '+' between: "split, merged" for people, an array in JSON */
	UNIT_TEXT, /* from a person or a device: guarded in CSV; cleaned in every view, as words are */
};

struct value {
	enum unit unit;
	bool known; /* else a dash for people, null or empty for programs */
	uint64_t whole; /* counts, bytes, nanoseconds; a flag: 0 or 1 */
	double number; /* the other units, > 0 or not, always finite; of a range the rate beside it */
	double low, high; /* of a range */
	const char *text; /* words and texts; outlives whatever shows it */
};

struct value value_unknown(void);
struct value value_if(bool known, struct value v); /* unknown unless known */

struct value value_count(uint64_t n);
struct value value_bytes(uint64_t n);
struct value value_bytes_decimal(uint64_t n);
/* What is not finite is unknown. */
struct value value_bytes_mean(double n);
struct value value_rate(double bytes_per_second);
struct value value_seconds(double seconds);
struct value value_ns(uint64_t ns);
struct value value_share(double share);
struct value value_share_counted(uint64_t part, uint64_t whole); /* 0 of 0 is 0 */
struct value value_number(double n);
struct value value_change(double ratio); /* new over old */
struct value value_change_range(double low, double high); /* ratios */
struct value value_rate_range(const struct rate_summary *s); /* its 95 % interval */
struct value value_flag(bool flag);
struct value value_code(const char *code); /* NULL: unknown */
struct value value_word(const char *word); /* NULL: unknown */
/* with '+' between; NULL or "": none, which is known */
struct value value_words(const char *words);
struct value value_text(const char *text); /* NULL or "": unknown */

/* True for words and texts, which programs get in quotes. */
bool value_is_text(struct value v);

/* True for changes and ranges: their ends have keys of their own. */
bool value_is_for_people(struct value v);

/* For people; a dash when unknown. Not cleaned. */
void value_add(struct text *t, struct value v);

/* For programs: in the base unit, with a decimal point, without quotes; "true" or "false"; nothing when unknown. */
void value_add_plain(struct text *t, struct value v);

#endif

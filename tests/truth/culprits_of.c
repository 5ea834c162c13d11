/* What limits each table of a sweep, as figures:
 *
 *   culprits_of RUN [link=RATE] [card-read=RATE] [card-write=RATE] [request=BYTES]      rates in B/s
 *
 * One line a table: direction, size judged, codes said together, code of the next, seconds of a request, and for each
 * code its shares and the seconds without it. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "findings/explain.h"

static void take(struct explain_known *k, const char *pair)
{
	const char *value = strchr(pair, '=');
	double number = value ? strtod(value + 1, NULL) : 0;

	if (!strncmp(pair, "link=", 5))
		k->link = number;
	else if (!strncmp(pair, "card-read=", 10))
		k->card[RUN_READ] = number;
	else if (!strncmp(pair, "card-write=", 11))
		k->card[RUN_WRITE] = number;
	else if (!strncmp(pair, "request=", 8))
		k->usual_bytes = (uint64_t)number;
	else
		exit(2);
}

static void print_table(const struct explained *x)
{
	const struct culprits *c = &x->culprits;

	printf("%s\t%llu\t", run_direction_name(x->direction), (unsigned long long)x->judged_bytes);
	for (size_t i = 0; i < c->count; i++)
		printf("%s%s", i ? "," : "", cause_code(c->list[i].cause));
	printf("\t%s\t%.9g\tkind=%d frames=%d F=%.6g b=%.6g at=%.0f misfit=%.2f",
		c->next_count ? cause_code(c->next[0].cause) : "-", c->seconds,
		x->growths.list[0].kind, x->frames, x->growths.list[0].fixed_s,
		x->growths.list[0].slope, x->growths.list[0].at_bytes, x->growths.list[0].misfit);
	for (size_t i = 0; i < c->count; i++)
		printf("\t%s %.4f %.4f %.9g %.9g", cause_code(c->list[i].cause),
			c->list[i].share_low, c->list[i].share_high, c->list[i].seconds_low,
			c->list[i].seconds_high);
	printf("\n");
}

int main(int argc, char **argv)
{
	struct explain_known known = { .usual_bytes = 4096 };
	struct explanation e;
	struct error err = { 0 };
	struct run run;

	if (argc < 2)
		return 2;
	for (int i = 2; i < argc; i++)
		take(&known, argv[i]);
	if (run_load(&run, argv[1], &err) < 0 || explanation_make(&e, &run, &known, &err) < 0) {
		fprintf(stderr, "culprits_of: %s\n", err.text);
		return 3;
	}
	for (size_t i = 0; i < e.count; i++)
		print_table(&e.tables[i]);
	explanation_release(&e);
	run_release(&run);
	return 0;
}
